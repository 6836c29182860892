/**
 * The scripts in a browser, on a page with every part that they know.
 */

import assert from "node:assert/strict";
import { after, afterEach, before, beforeEach, test } from "node:test";
import { rm } from "node:fs/promises";

import { newProfile, openBrowser } from "../browser.js";
import { Stub } from "../stub.js";
import { until, untilText, untilTrue, untilReady, watchConsole } from "../watch.js";

const PHONE = { width: 360, height: 740, isMobile: true, hasTouch: true };
let stub, origin, profile, opened, page, told;

async function reopen() {
  await opened?.close();
  opened = await openBrowser(profile);
  page = await opened.browser.newPage();
  await page.setViewport(PHONE);
  told = watchConsole(page);
}

beforeEach(async () => {
  stub = new Stub();
  origin = await stub.start();
  profile = await newProfile();
  opened = undefined;
  await reopen();
  await page.goto(origin);
});
afterEach(async () => {
  await opened.close();
  await stub.stop();
  await rm(profile, { recursive: true, force: true, maxRetries: 10, retryDelay: 100 });
});

/** Fills and sends the form for material. */
async function use(what, packs, on = page) {
  await on.select("#used select", what);
  for (let pack = 0; pack < packs; pack += 1) await on.click("#used [data-add='1']");
  await on.click("#used button:not([type])");
}
const saved = () => stub.saved.map(({ fields }) => `${fields.quantity} ${fields.what}`);

test("what is logged is saved, the page shows it, and nothing stays on the phone", async () => {
  await use("moisture board", 6);
  await untilText(page, "#entries ol:last-of-type", "moisture board 6");
  assert.deepEqual(saved(), ["6 moisture board"]);
  assert.match(stub.saved[0].fields.entry, /^[0-9a-f]{32}$/);
  assert.match(stub.saved[0].fields.at, /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\+0[01]:00$/);
  await until(page, () => !document.querySelector("#not-sent"));
  assert.equal(await page.$eval("#used select", (select) => select.value), "", "the form is ready for the next");
  assert.deepEqual(told, []);
});

test("without the network it is kept over the browser's end, and sent once, in order", async () => {
  await untilReady(page);
  await stub.stop();
  for (const [what, packs] of [["screw", 1], ["moisture board", 2], ["screw", 3]]) {
    await use(what, packs);
    await untilText(page, "#not-sent", `${packs} ${what}`);
  }
  await untilText(page, "#not-sent", "not sent yet");
  await reopen();
  await page.goto(origin);
  await untilText(page, "#last-heard", "Last heard at");
  await untilText(page, "#not-sent li:nth-child(3)", "3 screw");
  await stub.start();
  await page.evaluate(() => dispatchEvent(new Event("online")));
  await untilTrue(() => stub.saved.length === 3, "all three are saved");
  await until(page, () => !document.querySelector("#not-sent"));
  await until(page, () => !document.querySelector("#last-heard"));
  assert.deepEqual(saved(), ["1 screw", "2 moisture board", "3 screw"]);
});

test("two tabs send one queue once", async () => {
  stub.isDown = true;
  for (const packs of [1, 2, 3, 4]) {
    await use("screw", packs);
    await untilText(page, "#not-sent", `${packs} screw`);
  }
  stub.isDown = false;
  const other = await opened.browser.newPage();
  await other.goto(origin);
  await page.evaluate(() => dispatchEvent(new Event("online")));
  await untilTrue(() => stub.saved.length === 4, "all four are saved");
  await until(page, () => !document.querySelector("#not-sent"));
  await until(other, () => !document.querySelector("#not-sent"));
  assert.equal(stub.posts, 4);
});

test("what was not saved comes back with the reason, is mended, and goes", async () => {
  stub.refuses = ({ quantity }) => (quantity === "0" ? "quantity must be more than 0" : "");
  await use("screw", 0);
  await untilText(page, "#not-sent", "not saved, because quantity must be more than 0");
  await page.click("#not-sent summary");
  // Another one comes meanwhile, and what is being mended stays open.
  stub.isDown = true;
  await use("moisture board", 1);
  await untilText(page, "#not-sent", "1 moisture board");
  assert.equal(await page.$eval("#not-sent details", (details) => details.open), true);
  stub.isDown = false;
  await page.$eval("#not-sent [name=quantity]", (field) => (field.value = "2"));
  await page.click("#not-sent .mend button");
  await untilTrue(() => stub.saved.length === 2, "both are saved");
  // What waited may have gone before the press: what is being mended holds up nothing behind it.
  assert.deepEqual(saved().sort(), ["1 moisture board", "2 screw"]);
  await until(page, () => !document.querySelector("#not-sent"));
});

test("what was not saved can be dropped", async () => {
  stub.refuses = () => "no";
  await use("screw", 1);
  await untilText(page, "#not-sent", "not saved, because no");
  await page.click("#not-sent .acts > button");
  await until(page, () => !document.querySelector("#not-sent"));
  await page.reload();
  assert.equal(await page.$("#not-sent"), null);
  assert.deepEqual(stub.saved, []);
});

test("after the session is closed the queue can be saved as a file, and no screen stays on the phone", async () => {
  await untilReady(page);
  stub.isDown = true;
  await use("screw", 1);
  await untilText(page, "#not-sent", "not sent yet");
  stub.isDown = false;
  stub.isClosed = true;
  await page.evaluate(() => dispatchEvent(new Event("online")));
  await untilText(page, "h1", "This phone was taken off the page");
  await untilText(page, "#not-sent", "Save it as a file");
  const table = await page.evaluate(async () => {
    const { asCsv } = await import("/static/export.js");
    const { shelf } = await import("/static/shelf.js");
    return asCsv(await shelf.all(), [], await shelf.session());
  });
  assert.match(table, /,tobi-phone,Tobi Larch,.*,used,,,screw,1,/);
  assert.deepEqual(await page.evaluate(async () => (await caches.keys()).filter((name) => name === "screens")), []);
});

test("a change elsewhere appears, and takes neither focus nor a half-filled form", async () => {
  await page.click("#more summary");
  await page.focus("#said input");
  await page.keyboard.type("two bags");
  await page.select("#used select", "screw");
  await untilTrue(() => stub.listeners.size === 1, "the page listens");
  stub.note = "Ines: the north wall is wet";
  stub.changed();
  await untilText(page, "#note", "the north wall is wet");
  await page.keyboard.type(" multi");
  const state = await page.evaluate(() => ({
    line: document.querySelector("#said input").value,
    focused: document.activeElement.name,
    item: document.querySelector("#used select").value,
    open: document.querySelector("#more").open,
    buttons: document.querySelectorAll("#used [data-add]:not([hidden])").length,
    dials: document.querySelectorAll(".dial").length,
  }));
  assert.deepEqual(state, { line: "two bags multi", focused: "line", item: "screw", open: true, buttons: 2, dials: 2 });
});

test("a dial is turned by thumb and by buttons, and the field says the time", async () => {
  const face = await page.$("#hours .face");
  await face.scrollIntoView();
  const box = await face.boundingBox();
  // A quarter past nothing of the face's right: three o'clock; the nearer one to 07:45 is 03:00.
  await page.mouse.click(box.x + box.width - 20, box.y + box.height / 2);
  assert.equal(await page.$eval("#hours [name=from]", (field) => field.value), "03:00");
  await page.click("#hours .dial .steps button:nth-child(4)");
  await page.click("#hours .dial .steps button:nth-child(2)");
  assert.equal(await page.$eval("#hours [name=from]", (field) => field.value), "03:10");
});

test("packs go up by one and by half", async () => {
  await page.click("#used [data-add='1']");
  await page.click("#used [data-add='0.5']");
  assert.equal(await page.$eval("#used [name=quantity]", (field) => field.value), "1.5");
});

test("a line that was said is kept without signal, and goes straight to the node with it", async () => {
  stub.isDown = true;
  await page.type("#said input", "two bags multi");
  await page.click("#said button");
  await untilText(page, "#not-sent", "two bags multi");
  stub.isDown = false;
  assert.equal(await page.$eval("#not-sent form [name=line]", (field) => field.value), "two bags multi");
  await page.type("#said input", "six boards");
  await Promise.all([page.waitForNavigation(), page.click("#said button")]);
  assert.equal(new URL(page.url()).search, "?line=six+boards");
});

test("a screen that was never opened says so without signal, and still shows what is kept", async () => {
  await untilReady(page);
  await stub.stop();
  await page.goto(`${origin}/stages`);
  await untilText(page, "h1", "No signal");
  await stub.start();
});

test("a page that was still on its way when the worker became ready is ruled by it, too", async () => {
  // At the door the worker begins; one of its files is slow, and meanwhile the person goes on to a slow screen.
  const other = await (await opened.browser.createBrowserContext()).newPage();
  const [sendFile, sendScreen] = [stub.hold("/static/icon-192.png"), stub.hold("/?slow")];
  await other.goto(`${origin}/join`);
  await until(other, async () => (await navigator.serviceWorker.getRegistration())?.installing);
  const opening = other.evaluate(() => void (location.href = "/?slow"));
  await opening;
  sendFile();
  const worker = await opened.browser.waitForTarget((target) => target.type() === "service_worker" && target.browserContext() === other.browserContext());
  const inWorker = await worker.worker();
  await untilTrue(() => inWorker.evaluate(() => self.registration.active?.state === "activated"), "the worker is active");
  sendScreen();
  await untilReady(other);
  await other.browserContext().close();
});

test("while the phone is not ready to work without signal it says so, and it gets ready by itself", async () => {
  const other = await (await opened.browser.createBrowserContext()).newPage();
  // Until it was read: the worker of another page may ask for the same file meanwhile.
  stub.breaks.set("/static/unsent.html", Infinity);
  await other.goto(`${origin}/?other`);
  await untilText(other, "#not-ready", "Not ready to work without signal yet");
  stub.breaks.delete("/static/unsent.html");
  await untilReady(other);
  await untilText(other, "#announcement", "works without signal");
  await until(other, () => !document.querySelector("#not-ready"));
  await other.browserContext().close();
});

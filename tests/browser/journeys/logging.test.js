/**
 * Logging on a phone: in a few presses, with the network and without it.
 */

import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { rm } from "node:fs/promises";

import { newProfile } from "../browser.js";
import { cutNetwork } from "../network.js";
import { Crew, fill, openRow, pressAndWait, TOBI } from "../crew.js";
import { until, untilText, untilTrue, untilReady } from "../watch.js";

let crew, page, told;

before(async () => {
  crew = await Crew.found();
  ({ page, told } = await crew.join(TOBI));
  await page.goto(`${crew.origin}/?job=GARAGE&stage=stud+walls`);
});
after(() => crew.end());

const today = () => page.$$eval("#entries .entry p:first-child", (all) => all.map((one) => one.textContent));

test("material goes down in two presses, and the entry says how safe it is", async () => {
  await openRow(page, "log-material");
  await page.click("#log-material .quick button");
  await untilText(page, "#entries .entry", "stud 95x38x2400");
  await untilTrue(async () => (await crew.entries("GARAGE")).length === 1, "the ledger has it");
  assert.match(await page.$eval("#entries .safe", (safe) => safe.textContent), /^on maren-laptop only$/);
});

test("hours go down with their two times, each on a dial", async () => {
  await openRow(page, "log-hours");
  // What the fields offer follows the clock, and what one types follows the browser's language.
  await fill(page, "#log-hours", { from: "07:45", to: "12:00" });
  assert.equal((await page.$$("#log-hours .dial")).length, 2, "the fields have dials");
  await page.$eval("#log-hours form", (form) => form.requestSubmit());
  await untilText(page, "#entries", "07:45");
});

test("work is started, switched and stopped, and the time runs", async () => {
  await page.click("form[action='/do/start'] button.act");
  await until(page, () => document.querySelector("[data-running-since]"));
  assert.match(await page.$eval("[data-running-since]", (time) => time.textContent), /^0 h 0\d$/);
  await page.click("form[action='/do/stop'] button.act");
  await until(page, () => document.querySelector("form[action='/do/start']"));
});

test("an entry is changed and then crossed out", async () => {
  const entry = "#entries .entry:has([name=quantity])";
  await page.click(`${entry} summary`);
  await page.$eval(`${entry} [name=quantity]`, (field) => (field.value = "7"));
  await page.$eval(`${entry} form[action='/do/correct']`, (form) => form.requestSubmit());
  await untilText(page, entry, "7 stud");
  await page.$eval(`${entry} form[action='/do/strike']`, (form) => form.requestSubmit());
  await until(page, (which) => !document.querySelector(which), entry);
  const history = JSON.stringify(await crew.entries("GARAGE"));
  assert.match(history, /crossed out/, "the ledger forgets nothing");
});

test("what is not saved says why where it can be mended", async () => {
  await openRow(page, "log-test");
  const form = "#log-test form:last-of-type";
  await fill(page, form, { what: "pressure test", quantity: "about four", unit: "bar" });
  await page.$eval(form, (one) => one.requestSubmit());
  await untilText(page, "#not-sent", "not saved, because");
  await page.click("#not-sent summary");
  await page.$eval("#not-sent [name=quantity]", (field) => (field.value = "4.5"));
  await page.click("#not-sent .mend button");
  await untilText(page, "#entries", "4.5");
  await until(page, () => !document.querySelector("#not-sent"));
});

test("no script complained", () => {
  // The browser itself notes the answer that said no.
  assert.deepEqual(told.filter((line) => !/status of 422/.test(line)), []);
});

test("in a cellar entries wait on the phone, also when the browser ends, and go once and in order", async () => {
  const profile = await newProfile();
  const first = await crew.join(TOBI, { profile });
  // Nobody opened this job's screen on this phone before.
  const now = `${crew.origin}/?job=MILL`;
  await untilReady(first.page, now);
  await cutNetwork(first.page);
  await first.page.goto(now);
  await untilText(first.page, "#last-heard", "Last heard at");
  for (const words of ["first", "second", "third"]) {
    await openRow(first.page, "log-note");
    await first.page.$eval("#log-note [name=note]", (field, text) => (field.value = text), `${words} from the cellar`);
    await first.page.click("#log-note form button");
    await untilText(first.page, "#not-sent", `${words} from the cellar`);
  }
  assert.deepEqual(await crew.entries("MILL"), []);
  await first.close();
  // The node itself stays away until the browser is open again.
  await crew.stop();
  const again = await crew.reopen(profile, now);
  await untilText(again.page, "#not-sent li:nth-child(3)", "third from the cellar");
  await crew.start();
  await again.page.evaluate(() => dispatchEvent(new Event("online")));
  await until(again.page, () => !document.querySelector("#not-sent"));
  const texts = (await crew.entries("MILL")).map(({ text }) => text);
  assert.equal(texts.length, 3, JSON.stringify(texts));
  const notes = await again.page.$$eval("#entries .entry > div > p:first-child", (all) => all.map((one) => one.textContent));
  for (const words of ["first", "second", "third"]) assert.equal(notes.filter((note) => note.includes(words)).length, 1);
  await again.close();
  await rm(profile, { recursive: true, force: true, maxRetries: 10, retryDelay: 100 });
});

/**
 * Several people on one page: what one logs another sees at once, a hand finds no amount anywhere, a link
 * joins one browser and only when it is pressed, and a closed session is over.
 */

import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { openBrowser } from "../browser.js";
import { BOSS, Crew, INES, openRow, pressAndWait, TOBI } from "../crew.js";
import { untilText } from "../watch.js";

let crew, tobi, ines, boss;

before(async () => {
  crew = await Crew.found({ withWeek: true });
  tobi = await crew.join(TOBI);
  ines = await crew.join(INES);
  boss = await crew.join(BOSS);
});
after(() => crew.end());

test("what one logs appears on the other's phone, and takes nothing from who is writing", async () => {
  const now = `${crew.origin}/?job=GARAGE&stage=boarding`;
  await ines.page.goto(now);
  await tobi.page.goto(now);
  await openRow(ines.page, "log-note");
  await ines.page.focus("#log-note [name=note]");
  await ines.page.keyboard.type("half a li");
  const listening = ines.page.waitForResponse((response) => response.url() === now && response.status() === 200);
  await openRow(tobi.page, "log-note");
  await tobi.page.type("#log-note [name=note]", "the north wall is wet");
  await tobi.page.click("#log-note form button");
  await untilText(tobi.page, "#entries", "the north wall is wet");
  await listening;
  await untilText(ines.page, "main", "the north wall is wet");
  await ines.page.keyboard.type("ne");
  const [text, focused] = await ines.page.$eval("#log-note [name=note]", (field) => [field.value, field === document.activeElement]);
  assert.deepEqual([text, focused], ["half a line", true]);
});

/** Every page that is reached by links and by the addresses of the boss's own. */
async function crawl(page, starts) {
  const [seen, waiting] = [new Map(), [...starts]];
  while (waiting.length) {
    const path = waiting.pop();
    if (seen.has(path)) continue;
    const { status, html } = await page.evaluate(async (where) => {
      const answer = await fetch(where, { headers: { Accept: "text/html" }, redirect: "manual" });
      return { status: answer.status, html: await answer.text() };
    }, path);
    seen.set(path, { status, html });
    for (const [, found] of html.matchAll(/href="(\/[^"#]*)"/g)) {
      const link = found.replaceAll("&amp;", "&").replaceAll("&#38;", "&");
      if (!/^\/(static|photos|manifest|live)/.test(link) && seen.size < 300) waiting.push(link);
    }
  }
  return seen;
}

test("a hand finds no amount on any screen", async () => {
  const screens = ["/", "/stages", "/doing", "/week", "/crew", "/job", "/books", "/bill?job=GARAGE", "/paper?what=41",
    "/why?job=GARAGE&stage=stud%20walls&what=hours"];
  const bossSees = [...(await crawl(boss.page, screens)).values()].map(({ html }) => html).join("\n");
  assert.match(bossSees, /£\s?\d/, "the boss sees amounts, so the search below can find them");
  for (const [who, { page }] of [["Tobi", tobi], ["Ines", ines]]) {
    const pages = await crawl(page, screens);
    assert.ok(pages.size > 10, `${pages.size} pages were looked at`);
    for (const [path, { status, html }] of pages) {
      // Their own ticket has fields for pounds, and no sum in them.
      const amounts = html.match(/£\s?\d[\d,.]*|\d+\.\d\d an hour|value="\d+\.\d\d"/g);
      assert.equal(amounts, null, `${who} at ${path} (${status})`);
      for (const rate of ["21.50", "36.00", "17.25", "28.00", "42.00"]) {
        assert.ok(!html.includes(rate), `${who} finds the rate ${rate} at ${path}`);
      }
    }
    for (const path of ["/week", "/bill?job=GARAGE", "/books", "/crew"]) {
      assert.ok([403, 404].includes(pages.get(path).status), `${who} is turned away from ${path}`);
    }
  }
});

test("a hand's own forms can't do what is the boss's alone", async () => {
  const statuses = await tobi.page.evaluate(async () => {
    const token = document.body.dataset.formToken;
    const send = (path, fields) =>
      fetch(path, { method: "POST", headers: { Accept: "application/json" }, body: new URLSearchParams({ token, ...fields }) })
        .then(({ status }) => status);
    return Promise.all([
      send("/do/invoice-issue", { job: "GARAGE" }),
      send("/do/pay", { number: "41", received: "1.00" }),
      send("/do/retire", { device: "maren-laptop", reason: "mine now" }),
      send("/do/invite", { person: "Tobi Larch", role: "owner" }),
    ]);
  });
  assert.deepEqual(statuses, [403, 403, 403, 403]);
});

test("looking at a link does not use it up, and it joins one browser", async () => {
  const link = await crew.link(TOBI);
  for (let look = 0; look < 5; look += 1) assert.equal((await fetch(link)).status, 200);
  const opened = await openBrowser();
  try {
    const page = await opened.browser.newPage();
    await page.goto(link);
    await pressAndWait(page, "main form button");
    assert.equal(new URL(page.url()).pathname, "/");
    assert.equal(await page.$eval("body", (body) => body.dataset.person), TOBI);
  } finally {
    await opened.close();
  }
  assert.notEqual((await fetch(link)).status, 200, "a second browser can't use it");
});

test("a closed session is over at once, with a page that says how to get in again", async () => {
  await boss.page.goto(`${crew.origin}/crew`);
  const form = await boss.page.evaluateHandle((name) =>
    [...document.querySelectorAll("form[action='/do/close-session']")].find((one) => one.textContent.includes(name)), INES);
  await Promise.all([boss.page.waitForNavigation(), form.evaluate((one) => one.requestSubmit())]);
  // The open page is told, without a press.
  await untilText(ines.page, "h1", "This phone was taken off the page");
  assert.deepEqual(await ines.page.evaluate(async () => (await caches.keys()).filter((name) => name === "screens")), []);
});

test("no script complained", () => {
  // The browser itself notes that Tobi was turned away where he should be.
  assert.deepEqual(tobi.told.filter((line) => !/status of 403/.test(line)), []);
  // No invoice has the number yet that the search tried.
  assert.deepEqual(boss.told.filter((line) => !/status of 404.*what=41/.test(line)), []);
});

/**
 * How we're doing, the week and the invoice, on the boss's laptop, with the scenario's week.
 */

import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { BOSS, Crew, LAPTOP, pressAndWait } from "../crew.js";
import { untilText, untilTrue } from "../watch.js";

let crew, page, told;

before(async () => {
  crew = await Crew.found({ withWeek: true });
  ({ page, told } = await crew.join(BOSS, { viewport: LAPTOP }));
});
after(() => crew.end());

const text = (selector) => page.$eval(selector, (element) => element.textContent.replace(/\s+/g, " "));

test("hours and material stand against what was priced, and every figure opens its why", async () => {
  await page.goto(`${crew.origin}/doing?job=GARAGE`);
  const main = await text("main");
  assert.match(main, /stud walls.*?15 h 45.{0,40}14 h.{0,40}1 h 45 (more|over)/i);
  const whys = await page.$$eval("a.why", (all) => all.map((link) => link.href));
  assert.ok(whys.length > 5);
  for (const why of whys) {
    const answer = await page.goto(why);
    assert.equal(answer.status(), 200, why);
  }
  await page.goto(whys.find((why) => why.includes("stud") && why.includes("hours")));
  assert.match(await text("main"), /Tobi Larch.*8 h/);
});

test("the week asks what is to sort out first, and takes the answer where it stands", async () => {
  await page.goto(`${crew.origin}/week?on=2026-11-06`);
  const count = async () => Number(/To sort out first: (\d+)/.exec(await text("main"))?.[1] ?? 0);
  const open = JSON.parse(await crew.fivebar("sort-out", "--json")).questions.length;
  assert.ok((await count()) > 0 && (await count()) <= 7);
  await page.click(".ask details summary");
  await page.type(".ask details [name=answer]", "asked on site, it is right");
  await page.click(".ask details[open] form button");
  const left = async () => JSON.parse(await crew.fivebar("sort-out", "--json")).questions.length;
  await untilTrue(async () => (await left()) === open - 1, "one question less is open");
});

test("the invoice is seen before it is issued, and issued it keeps its number", async () => {
  await page.goto(`${crew.origin}/bill?job=GARAGE`);
  const seen = await text("main .money.sum");
  await page.click("[name=sure]");
  await pressAndWait(page, "form[action='/do/invoice-issue'] button");
  const invoices = JSON.parse(await crew.fivebar("invoice", "list", "--json"));
  assert.match(JSON.stringify(invoices), /41/);
  await page.goto(`${crew.origin}/books`);
  await pressAndWait(page, "main th a");
  assert.equal(await text("main .money.sum"), seen, "it says what was seen");
});

test("money that came closes it", async () => {
  await page.goto(`${crew.origin}/week`);
  const owed = "main [data-key]:has([name=received])";
  await page.click(`${owed} details summary`);
  await pressAndWait(page, `${owed} form[action='/do/pay'] button`);
  await untilText(page, "main", "Nothing that was issued here is owed");
});

test("no script complained", () => assert.deepEqual(told, []));

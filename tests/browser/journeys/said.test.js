/**
 * A line as it is told on site: read, answered in a press, logged with what was ticked, and learnt from.
 */

import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { Crew, TOBI } from "../crew.js";
import { until, untilText, untilTrue } from "../watch.js";

let crew, page, told;

before(async () => {
  crew = await Crew.found({ withWeek: true });
  ({ page, told } = await crew.join(TOBI));
});
after(() => crew.end());

/** Types a line on Now and has it read. @param {string} line */
async function say(line) {
  await page.goto(`${crew.origin}/?job=GARAGE`);
  await page.type("[name=said]", line);
  await page.$eval("[name=said]", (field) => field.form.requestSubmit());
  await until(page, () => document.querySelector("form[action='/said/log']"));
}

test("what was not seen yet is ticked seen and is gone", async () => {
  await page.goto(`${crew.origin}/?job=GARAGE`);
  const seen = "form:has([name=kind][value=seen])";
  await until(page, (form) => document.querySelector(form), seen);
  await page.$eval(seen, (form) => form.requestSubmit());
  await until(page, (form) => !document.querySelector(form), seen);
});

test("a line becomes entries once its question is answered", async () => {
  await say("three hours first fix pipes and two bags of finish on the long wall, wotsit");
  assert.equal(await page.$eval("mark", (word) => word.textContent), "wotsit");
  assert.ok(await page.$("input[name=take]:disabled"), "what is open can't be logged");
  await page.evaluate(() => {
    const answers = [...document.querySelectorAll(".ask button")];
    answers.find((button) => button.textContent === "first fix water").click();
  });
  await until(page, () => !document.querySelector(".ask") || !document.querySelector("input[name=take]:disabled"));
  await page.$eval("form[action='/said/log']", (form) => form.requestSubmit(form.querySelector("button.act")));
  await untilText(page, "#entries", "finish plaster");
  await untilTrue(async () => {
    const entries = JSON.stringify(await crew.entries("GARAGE"));
    return entries.includes("3 h 00") && entries.includes("2 bags");
  }, "the ledger has both");
});

test("an answer is asked for once: the crew's word is kept", async () => {
  await say("one hour first fix pipes");
  const asked = await page.$$eval(".ask legend", (all) => all.map((legend) => legend.textContent));
  assert.ok(!asked.some((question) => question.includes("first fix pipes")), asked.join("; "));
});

test("a line that means nothing logs nothing and says so", async () => {
  await say("<img src=x onerror=alert(1)> blah");
  await untilText(page, "main", "Nothing to log was found in it");
  assert.equal(await page.$("main img"), null);
});

test("no script complained", () => assert.deepEqual(told, []));

/**
 * Every screen, for everybody who has it, in both colour schemes and at both widths: no fault that axe finds,
 * no sideways scroll, nothing in the console.
 */

import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { after, before, test } from "node:test";

import { BOSS, Crew, LAPTOP, PHONE, TOBI } from "../crew.js";

const axe = await readFile(new URL(import.meta.resolve("axe-core/axe.min.js")), "utf8");
const SHARED = ["/", "/?job=GARAGE", "/?job=MILL&stage=-", "/stages?job=GARAGE", "/behind?job=GARAGE", "/entries?job=GARAGE", "/job?job=GARAGE",
  "/rooms?job=GARAGE", "/rooms?job=GARAGE&what=shower+room"];
const OFFICE = ["/doing?job=GARAGE", "/doing?job=MILL", "/why?job=GARAGE&stage=stud+walls&what=hours", "/week", "/week?on=2026-11-06",
  "/bill?job=GARAGE", "/bill?job=MILL", "/books", "/crew", "/lists", "/job?job=MILL"];
const DOOR = ["/join", "/join?closed", "/join?unused", "/static/unsent.html", "/nothing-here"];
let crew, boss, tobi;

before(async () => {
  crew = await Crew.found({ withWeek: true });
  await crew.fivebar("measure", "--job", "GARAGE", "--keep", "--line", "room: Shower room",
    "--line", "wall north: 4200 x 2400, studs 400, board, skim, paint", "--line", "door: 838 x 2032 at 1500");
  boss = await crew.join(BOSS);
  tobi = await crew.join(TOBI);
});
after(() => crew.end());

/** Opens every fold of a screen, so that what lies in it is looked at too. */
const unfold = (page) =>
  page.$$eval("details", (all) => {
    for (const one of all) {
      one.removeAttribute("name");
      one.open = true;
    }
  });

async function look(page, path, scheme) {
  await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
  await page.goto(crew.origin + path);
  await unfold(page);
  // The row of screens at the foot lies over what has not been scrolled to; here all is on the screen at once.
  const height = await page.evaluate(() => document.documentElement.scrollHeight);
  await page.setViewport({ ...PHONE, height: height + 100 });
  await page.evaluate(axe);
  const faults = await page.evaluate(async () => {
    const report = await globalThis.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] });
    return report.violations.map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html.slice(0, 160)).slice(0, 3).join(" | ")}`);
  });
  assert.deepEqual(faults.map((fault) => `${path} ${fault}`), []);
}

async function fits(page, path, viewport) {
  await page.setViewport(viewport);
  await page.goto(crew.origin + path);
  await unfold(page);
  const { wide, least } = await page.evaluate(() => ({
    wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
    least: [...document.querySelectorAll("button, summary, select, input:not([type=hidden], [type=radio], [type=checkbox])")]
      .map((one) => [one.getBoundingClientRect(), one.outerHTML.slice(0, 120)])
      .filter(([box]) => box.height > 0 && box.height < 47.5)
      .map(([box, html]) => `${box.height} px: ${html}`),
  }));
  assert.ok(wide <= 0, `${path} is ${wide} px too wide at ${viewport.width}`);
  assert.deepEqual(least, [], `${path}: targets under 48 px`);
}

for (const scheme of ["light", "dark"]) {
  test(`the boss's screens are for everybody, ${scheme}`, async () => {
    for (const path of [...SHARED, ...OFFICE, ...DOOR]) await look(boss.page, path, scheme);
  });
  test(`the crew's screens are for everybody, ${scheme}`, async () => {
    for (const path of SHARED) await look(tobi.page, path, scheme);
  });
}

for (const viewport of [PHONE, LAPTOP]) {
  test(`no screen scrolls sideways at ${viewport.width} px, and every target is for a thumb`, async () => {
    for (const path of [...SHARED, ...OFFICE, ...DOOR]) await fits(boss.page, path, viewport);
  });
}

test("no script complained", () => {
  // A page that is not there says so in the console, as it should.
  const faults = [...boss.told, ...tobi.told].filter((line) => !line.includes("/nothing-here"));
  assert.deepEqual(faults, []);
});

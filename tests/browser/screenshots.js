/**
 * The README's pictures of the page: the demo's week, on its Friday afternoon.
 */

import { stat, writeFile } from "node:fs/promises";
import { fileURLToPath } from "node:url";

import { BOSS, Crew, LAPTOP, openRow, PHONE, TOBI } from "./crew.js";
import { cutNetwork } from "./network.js";
import { until, untilText, untilReady } from "./watch.js";

const CLOCK = "2026-11-06 15:42:00";
const DOCS = new URL("../../docs/", import.meta.url);
/** All pictures together, so that fetching the project stays quick. */
const MOST_BYTES = 400_000;

/** The browser's clock goes with the node's. @param {import("puppeteer-core").Page} page */
function setClock(page) {
  return page.evaluateOnNewDocument((start) => {
    const [Real, begun] = [Date, Date.now()];
    const now = () => start + Real.now() - begun;
    globalThis.Date = class extends Real {
      constructor(...given) {
        super(...(given.length ? given : [now()]));
      }
      static now = now;
    };
  }, Date.parse(`${CLOCK.replace(" ", "T")}Z`));
}

let sum = 0;
async function picture(page, name, scheme = "light") {
  await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
  await page.evaluate(() => document.getElementById("announcement")?.replaceChildren());
  const path = fileURLToPath(new URL(`${name}.png`, DOCS));
  await writeFile(path, await page.screenshot());
  const { size } = await stat(path);
  sum += size;
  console.log(`docs/${name}.png  ${size} bytes`);
}

const crew = await Crew.found({ withWeek: true, clock: CLOCK });
try {
  const tobi = await crew.join(TOBI);
  await setClock(tobi.page);
  const now = `${crew.origin}/?job=GARAGE&stage=tiling`;
  await untilReady(tobi.page);
  await tobi.page.goto(now);
  await tobi.page.click("form[action='/do/start'] button.act");
  await until(tobi.page, () => document.querySelector("[data-running-since]"));
  await tobi.page.$eval(".run", (run) => run.scrollIntoView());
  await picture(tobi.page, "now");
  await openRow(tobi.page, "log-hours");
  await tobi.page.$eval("#log-hours .dials", (row) => row.scrollIntoView({ block: "center" }));
  await picture(tobi.page, "hours");
  await tobi.page.goto(now);
  const giveBack = await cutNetwork(tobi.page);
  await openRow(tobi.page, "log-note");
  await tobi.page.type("#log-note [name=note]", "Crack in the sill, north window");
  await tobi.page.click("#log-note form button:last-of-type");
  await untilText(tobi.page, "#not-sent", "Crack in the sill");
  await tobi.page.$eval("#entries", (list) => list.scrollIntoView());
  await picture(tobi.page, "offline", "dark");
  await giveBack();
  await tobi.page.goto(`${crew.origin}/stages?job=GARAGE`);
  await picture(tobi.page, "stages");
  const boss = await crew.join(BOSS, { viewport: PHONE });
  await setClock(boss.page);
  await boss.page.goto(`${crew.origin}/doing?job=GARAGE`);
  await picture(boss.page, "doing");
  await boss.page.setViewport(LAPTOP);
  await boss.page.goto(`${crew.origin}/week`);
  await picture(boss.page, "week");
  console.log(`${sum} bytes together`);
  if (sum > MOST_BYTES) throw new Error(`the pictures may have ${MOST_BYTES} bytes together`);
} finally {
  await crew.end();
}

/**
 * What every browser test needs of a page: it notes what the console says, and waits for conditions, never
 * for time to pass.
 */

import assert from "node:assert/strict";

/** A slow machine gets time; a condition that never comes fails here. */
export const PATIENCE_MS = 30_000;

/**
 * Notes errors and warnings of a page's console, its scripts and its requests' policy.
 * @param {import("puppeteer-core").Page} page
 * @returns {string[]} grows as they come
 */
export function watchConsole(page) {
  /** @type {string[]} */
  const told = [];
  page.on("console", (message) => {
    if (["error", "warn"].includes(message.type())) told.push(`${message.text()} (${message.location().url ?? ""})`);
  });
  page.on("pageerror", (error) => told.push(String(error)));
  return told;
}

/**
 * Waits until a check in the page is true.
 * @param {import("puppeteer-core").Page} page
 * @param {(...given: any[]) => unknown} check runs in the page
 * @param {...any} given
 */
export function until(page, check, ...given) {
  return page.waitForFunction(check, { timeout: PATIENCE_MS, polling: 100 }, ...given);
}

/**
 * Waits until an element's text has these words.
 * @param {import("puppeteer-core").Page} page
 * @param {string} selector
 * @param {string} words
 */
export async function untilText(page, selector, words) {
  const check = (where, what) => document.querySelector(where)?.textContent.includes(what);
  await until(page, check, selector, words).catch(async () => {
    const found = await page.$$eval(selector, (all) => all.map((one) => one.textContent));
    assert.fail(`${selector} never said “${words}”; it said ${JSON.stringify(found)}`);
  });
}

/**
 * Waits until a check outside the browser is true.
 * @param {() => unknown} check
 * @param {string} what
 */
export async function untilTrue(check, what) {
  const end = Date.now() + PATIENCE_MS;
  while (!(await check())) {
    assert.ok(Date.now() < end, `it never came true that ${what}`);
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}

/**
 * Waits until a screen opens without the network: the worker rules the page and has kept what it shows. Screens that
 * nobody opened are kept a little later than the one that is looked at.
 * @param {import("puppeteer-core").Page} page @param {string} [address] of the screen, if it is another than this
 */
export async function untilReady(page, address = "") {
  await until(page, async (wanted) => {
    const kept = await (await caches.open("screens")).match(wanted || location.href);
    return kept !== undefined && navigator.serviceWorker.controller !== null;
  }, address);
}

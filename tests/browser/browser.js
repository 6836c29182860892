/**
 * Chromium with a profile of its own, started and stopped by the tests.
 */

import { mkdtemp, rm } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import puppeteer from "puppeteer-core";

const CHROMIUM = process.env.CHROMIUM ?? "/usr/bin/chromium";
const FLAGS = [
  "--no-sandbox",
  "--disable-gpu",
  "--disable-quic",
  "--no-first-run",
  "--disable-background-networking",
  "--disable-component-update",
  "--disable-sync",
  "--lang=en-GB",
];

/** @returns {Promise<string>} a new folder for what a browser keeps */
export function newProfile() {
  return mkdtemp(join(tmpdir(), "fivebar-browser-"));
}

/**
 * @param {string} [profile] where the browser keeps things; a new folder, removed again, without one
 * @returns {Promise<{browser: import("puppeteer-core").Browser, close: () => Promise<void>}>}
 */
export async function openBrowser(profile) {
  const userDataDir = profile ?? (await newProfile());
  const browser = await puppeteer.launch({
    executablePath: CHROMIUM,
    headless: true,
    userDataDir,
    args: FLAGS,
    env: { ...process.env, TZ: "Europe/London", LANGUAGE: "en_GB" },
  });
  const close = async () => {
    await browser.close();
    // A helper process of the browser may still be writing as its parent goes.
    if (!profile) await rm(userDataDir, { recursive: true, force: true, maxRetries: 10, retryDelay: 100 });
  };
  return { browser, close };
}

/**
 * A crew of invented people with a week of invented work, on a real `fivebar` that serves its page, and
 * browsers that join it as people do.
 */

import assert from "node:assert/strict";
import { execFile, spawn } from "node:child_process";
import { copyFile, mkdir, mkdtemp, rm } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";

import { openBrowser } from "./browser.js";
import { until, watchConsole } from "./watch.js";

const ROOT = fileURLToPath(new URL("../../", import.meta.url));
const FIVEBAR = join(process.env.CARGO_TARGET_DIR ?? join(ROOT, "target"), "debug/fivebar");
const SCENARIO = join(ROOT, "tests/scenario");
const LISTS = ["crew", "price-book", "firm", "jobs", "stages", "estimate"];
const run = promisify(execFile);

export const BOSS = "Maren Oake";
export const TOBI = "Tobi Larch";
export const INES = "Ines Quill";
export const PHONE = { width: 360, height: 740, isMobile: true, hasTouch: true };
export const LAPTOP = { width: 1280, height: 800 };

export class Crew {
  /**
   * Founds the crew on a laptop, with lists and, if wanted, the week's entries, and serves its page.
   * @param {{withWeek?: boolean, clock?: string}} [wish] `clock`: the time at which the node believes to be
   */
  static async found({ withWeek = false, clock } = {}) {
    const crew = new Crew();
    crew.program = clock ? ["faketime", clock, FIVEBAR] : [FIVEBAR];
    crew.folder = await mkdtemp(join(tmpdir(), "fivebar-crew-"));
    crew.data = join(crew.folder, "laptop");
    const lists = join(crew.folder, "lists");
    await mkdir(lists);
    for (const name of LISTS) await copyFile(join(SCENARIO, `${name}.csv`), join(lists, `${name}.csv`));
    await crew.fivebar("found", "--crew", "Oake Rooms", "--person", BOSS, "--device", "maren-laptop");
    await crew.fivebar("import", lists);
    if (withWeek) await crew.fivebar("import", SCENARIO);
    crew.browsers = [];
    await crew.start();
    return crew;
  }

  /** Runs a command on the laptop. @param {...string} args @returns {Promise<string>} what it printed */
  async fivebar(...args) {
    const [program, ...before] = this.program;
    return (await run(program, [...before, "--data", this.data, ...args])).stdout;
  }

  /** Serves the page, at the same address as before if there was one. */
  async start() {
    const page = this.origin ? new URL(this.origin).host : "127.0.0.1:0";
    const [program, ...before] = this.program;
    const args = [...before, "--data", this.data, "run", "--listen", "127.0.0.1:0", "--page", page];
    this.process = spawn(program, args, { stdio: ["ignore", "pipe", "pipe"] });
    /** @type {string[]} */
    const said = [];
    this.origin = await new Promise((resolve, reject) => {
      const read = (line) => {
        said.push(line);
        const found = /The page is at (http:\/\/\S+)/.exec(line);
        if (found) resolve(found[1]);
      };
      for (const stream of [this.process.stdout, this.process.stderr]) createInterface(stream).on("line", read);
      this.process.once("exit", (code) => reject(new Error(`fivebar ended with ${code}:\n${said.join("\n")}`)));
    });
  }

  /** Stops serving: for a browser the node is out of reach. */
  async stop() {
    const ended = new Promise((resolve) => this.process.once("exit", resolve));
    this.process.kill("SIGINT");
    await ended;
  }

  /** @param {string} person @returns {Promise<string>} a link that joins one browser */
  async link(person) {
    const answer = JSON.parse(await this.fivebar("page", "--person", person, "--json"));
    const token = answer.link.token ?? answer.link;
    return `${this.origin}/join/${token}`;
  }

  /**
   * A new browser that has joined as somebody.
   * @param {string} person
   * @param {{profile?: string, viewport?: object}} [wish]
   */
  async join(person, { profile, viewport = PHONE } = {}) {
    const opened = await openBrowser(profile);
    this.browsers.push(opened);
    const page = await opened.browser.newPage();
    await page.setViewport(viewport);
    const told = watchConsole(page);
    await page.goto(await this.link(person));
    await pressAndWait(page, "main form button");
    assert.equal(new URL(page.url()).pathname, "/", "joining leads to the first screen");
    return { page, told, browser: opened.browser, close: opened.close };
  }

  /**
   * A browser that was here before, opened again.
   * @param {string} profile
   * @param {string} address
   */
  async reopen(profile, address) {
    const opened = await openBrowser(profile);
    this.browsers.push(opened);
    const page = await opened.browser.newPage();
    await page.setViewport(PHONE);
    await page.goto(address);
    return { page, close: opened.close };
  }

  /** A job's entries, as the ledger has them. @param {string} job */
  async entries(job) {
    return JSON.parse(await this.fivebar("entries", "--job", job, "--json")).entries;
  }

  /** Ends everything that was started. */
  async end() {
    for (const opened of this.browsers) await opened.close().catch(() => undefined);
    if (this.process?.exitCode === null) await this.stop();
    await rm(this.folder, { recursive: true, force: true, maxRetries: 10, retryDelay: 100 });
  }
}

/**
 * Presses what leads to another page, and waits for that.
 * @param {import("puppeteer-core").Page} page
 * @param {string} selector
 */
export async function pressAndWait(page, selector) {
  await Promise.all([page.waitForNavigation(), page.click(selector)]);
}

/**
 * Opens a row of what can be logged.
 * @param {import("puppeteer-core").Page} page
 * @param {string} id
 */
export async function openRow(page, id) {
  const isOpen = await page.$eval(`#${id}`, (row) => row.open);
  if (!isOpen) await page.click(`#${id} > summary`);
  await until(page, (which) => document.getElementById(which).open, id);
}

/**
 * Writes into a form's fields, whatever stood there.
 * @param {import("puppeteer-core").Page} page
 * @param {string} form
 * @param {Record<string, string>} values by the fields' names
 */
export async function fill(page, form, values) {
  for (const [name, value] of Object.entries(values)) {
    await page.$eval(`${form} [name=${name}]`, (field, text) => (field.value = text), value);
  }
}

/**
 * What is put right afterwards: a timer's stretch of work is changed and split, a photo is sorted later, and the
 * lists come in from files, whole or not at all. Each counts once, also if it is pressed twice.
 */

import assert from "node:assert/strict";
import { copyFile, mkdtemp, readFile, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { after, before, test } from "node:test";

import { BOSS, Crew, LAPTOP, openRow, pressAndWait, TOBI } from "../crew.js";
import { until, untilText, untilTrue } from "../watch.js";

const SCENARIO = fileURLToPath(new URL("../../scenario/", import.meta.url));
const NOW = "/?job=GARAGE&stage=stud+walls";
let crew, page, told, folder;

before(async () => {
  crew = await Crew.found();
  ({ page, told } = await crew.join(TOBI));
  folder = await mkdtemp(join(tmpdir(), "fivebar-mending-"));
});
after(async () => {
  await crew.end();
  await rm(folder, { recursive: true, force: true });
});

const texts = async (job = "GARAGE") => (await crew.entries(job)).map(({ text }) => text);

test("a button that is pressed twice at once counts once", async () => {
  await page.goto(crew.origin + NOW);
  await openRow(page, "log-note");
  await page.$eval("#log-note [name=note]", (field) => (field.value = "pressed twice"));
  await page.$eval("#log-note form button", (button) => {
    button.click();
    button.click();
  });
  await untilText(page, "#entries", "pressed twice");
  await until(page, () => !document.querySelector("#not-sent"));
  await page.reload();
  await untilText(page, "#entries", "pressed twice");
  assert.equal((await texts()).filter((text) => text.includes("pressed twice")).length, 1);
});

test("a timer’s stretch of work is changed and split in two that add up to it", async () => {
  // Yesterday's, as a phone sends it that was in a cellar until now.
  const yesterday = new Date(Date.now() - 24 * 3_600_000).toISOString().slice(0, 10);
  const statuses = await page.evaluate(async (day) => {
    const press = async (path, at, fields) => {
      const { formToken: token } = document.body.dataset;
      const body = new URLSearchParams({ token, entry: crypto.randomUUID(), at: `${day}T${at}:00.000Z`, ...fields });
      return (await fetch(path, { method: "POST", headers: { Accept: "application/json" }, body })).status;
    };
    return [
      await press("/do/start", "09:00", { job: "GARAGE", stage: "stud walls" }),
      await press("/do/stop", "11:00", { break_min: "0" }),
    ];
  }, yesterday);
  assert.deepEqual(statuses, [200, 200]);
  await page.goto(`${crew.origin}/entries?job=GARAGE`);
  const form = "form[action='/do/change-spell']";
  const from = await page.$eval(form, (one) => one.elements.from.value);
  const hour = (clock, add) => `${String(Number(clock.slice(0, 2)) + add).padStart(2, "0")}${clock.slice(2)}`;
  const earlier = hour(from, -1);
  await page.$eval(form, (one, time) => {
    one.elements.from.value = time;
    one.requestSubmit();
  }, earlier);
  const held = async (words) => JSON.stringify(await crew.entries("GARAGE")).includes(words);
  await untilTrue(() => held(`started ${earlier}; changed`), "the change is held");
  await page.goto(`${crew.origin}/entries?job=GARAGE`);
  await page.$eval("form[action='/do/split-spell']", (one, time) => {
    one.elements.at_time.value = time;
    one.elements.onto.value = [...one.elements.onto.options].find(({ text }) => text === "boarding").value;
    one.requestSubmit();
  }, from);
  await untilTrue(() => held("boarding"), "the second part is held");
  await page.goto(`${crew.origin}/entries?job=GARAGE`);
  for (const words of ["1 h 00", "2 h 00"]) await untilText(page, "main", words);
});

test("a photo goes in first and is sorted later", async () => {
  const bytes = await page.evaluate(async () => {
    const canvas = new OffscreenCanvas(40, 30);
    canvas.getContext("2d").fillRect(0, 0, 40, 30);
    return [...new Uint8Array(await (await canvas.convertToBlob({ type: "image/jpeg" })).arrayBuffer())];
  });
  const file = join(folder, "later.jpg");
  await writeFile(file, Buffer.from(bytes));
  await page.goto(crew.origin + NOW);
  await openRow(page, "log-photo");
  await (await page.$("#log-photo input[type=file]")).uploadFile(file);
  await page.waitForSelector("#log-photo .thumbnail img");
  await page.$eval("#log-photo form", (form) => {
    form.querySelector("[name=sort][value=later]").checked = true;
    form.requestSubmit();
  });
  await untilText(page, "main", "Photos not sorted yet: 1");
  await page.$eval(".sort form[action='/do/correct']", (form) => {
    const onto = form.querySelector("[name=onto]");
    onto.value = [...onto.options].find(({ text }) => text === "boarding").value;
    form.querySelector("[name=where]").value = "north wall";
    form.requestSubmit();
  });
  await until(page, () => !document.querySelector(".sort"));
  await page.goto(`${crew.origin}/behind?job=GARAGE`);
  await untilText(page, "main", "north wall");
  assert.equal((await page.$$("main a[href^='/photos/']")).length, 1);
});

test("a bad file is refused whole with its rows named; a good one comes in once", async () => {
  const boss = await crew.join(BOSS, { viewport: LAPTOP });
  const send = async (path) => {
    await boss.page.goto(`${crew.origin}/lists?job=GARAGE`);
    await (await boss.page.$("main input[type=file]")).uploadFile(path);
    await pressAndWait(boss.page, "main form[action^='/lists'] button");
    return boss.page.$eval("main", (main) => main.textContent.replace(/\s+/g, " "));
  };
  const stages = join(folder, "stages.csv");
  await copyFile(join(SCENARIO, "stages.csv"), stages);
  const [head, ...rows] = (await readFile(stages, "utf8")).trimEnd().split("\n");
  const before = await crew.fivebar("stages", "--json");
  await writeFile(stages, [head, ...rows, rows[0].replace(/^[^,]*,/, "BARN,")].join("\n"));
  const refused = await send(stages);
  assert.match(refused, new RegExp(`stages\\.csv.*${rows.length + 2}.*BARN`), refused);
  assert.equal(await crew.fivebar("stages", "--json"), before, "nothing of it came in");
  await writeFile(stages, [head, ...rows].join("\n"));
  assert.match(await send(stages), /nothing|already/i, "the same again changes nothing");
  assert.equal(await crew.fivebar("stages", "--json"), before);
  assert.deepEqual(boss.told.filter((line) => !/status of 422/.test(line)), []);
});

test("no script complained", () => assert.deepEqual(told, []));

/**
 * Times, dials and files, without a browser.
 */

import assert from "node:assert/strict";
import { test } from "node:test";

import { minutesAt, minutesOf, timeOf } from "../../../crates/web/static/dials.js";
import { asCsv, asJson, COLUMNS } from "../../../crates/web/static/export.js";
import { length, moment, newId } from "../../../crates/web/static/moment.js";
import { shrunkSize } from "../../../crates/web/static/photos.js";

test("ids are 16 random bytes in hex", () => {
  const ids = new Set(Array.from({ length: 100 }, newId));
  assert.equal(ids.size, 100);
  for (const id of ids) assert.match(id, /^[0-9a-f]{32}$/);
});

test("a moment is read back as the same second", () => {
  const now = new Date("2026-07-01T12:00:05Z");
  assert.match(moment(now), /^2026-07-01T\d\d:\d\d:05[+-]\d\d:\d\d$/);
  assert.equal(Date.parse(moment(now)), now.getTime());
});

test("a length is written as on the screens", () => {
  assert.deepEqual([0, 59.9, 60, 222, -3].map(length), ["0 h 00", "0 h 59", "1 h 00", "3 h 42", "0 h 00"]);
});

test("a dial reads quarters of an hour, and turning on past twelve goes into the afternoon", () => {
  const at = (hours, last) => {
    const angle = (hours / 12) * 2 * Math.PI;
    return timeOf(minutesAt(Math.sin(angle) * 70, -Math.cos(angle) * 70, minutesOf(last)));
  };
  assert.equal(at(7.75, "08:00"), "07:45");
  assert.equal(at(0.25, "11:45"), "12:15");
  assert.equal(at(11.75, "12:15"), "11:45");
  assert.equal(at(4.5, "13:00"), "16:30");
  assert.equal(at(11.75, "00:15"), "23:45");
  assert.deepEqual([timeOf(-15), timeOf(24 * 60 + 5)], ["23:45", "00:05"]);
});

test("a photo keeps its shape and is never made larger", () => {
  assert.deepEqual(shrunkSize(4032, 3024), [1600, 1200]);
  assert.deepEqual(shrunkSize(800, 600), [800, 600]);
  assert.deepEqual(shrunkSize(10_000, 2), [1600, 1]);
});

const KEPT = [
  {
    entry: "e1", at: "2026-11-06T16:01:09+00:00", path: "/log", title: "6 boards", person: "Tobi Larch",
    fields: [["kind", "used"], ["job", "GARAGE"], ["what", "moisture board"], ["quantity", "6"], ["note", 'wet, "north" side']],
    photos: [], state: "waiting", reason: "",
  },
  {
    entry: "e2", at: "2026-11-06T16:30:00+00:00", path: "/do/stop", title: "Stop work", person: "Tobi Larch",
    fields: [], photos: ["p1"], state: "waiting", reason: "",
  },
];

test("a table has the columns that the ledger takes in, and what is no entry is a note", () => {
  const lines = asCsv(KEPT, [], { phone: "tobi-phone" }).split("\r\n");
  assert.equal(lines[0], COLUMNS.join(","));
  assert.equal(lines[1],
    'e1,tobi-phone,Tobi Larch,2026-11-06T16:01:09+00:00,,used,GARAGE,,moisture board,6,,,,,,,,"wet, ""north"" side"');
  assert.equal(lines[2], "e2,tobi-phone,Tobi Larch,2026-11-06T16:30:00+00:00,,note,,,,,,,,,,,,Stop work");
});

test("the other file has everything, photos too", () => {
  const told = JSON.parse(asJson(KEPT, [{ id: "p1", bytes: new Uint8Array([255, 216, 0]).buffer }], { phone: "tobi-phone" }));
  assert.equal(told.entries.length, 2);
  assert.deepEqual(told.photos, [{ id: "p1", type: "image/jpeg", base64: "/9gA" }]);
});

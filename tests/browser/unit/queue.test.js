/**
 * The queue against a stub node: in order, each once, whatever the network does.
 */

import assert from "node:assert/strict";
import { afterEach, beforeEach, test } from "node:test";

import { createNode } from "../../../crates/web/static/node.js";
import { drop, mend, pause, sendDue } from "../../../crates/web/static/queue.js";
import { Stub } from "../stub.js";
import { ShelfInMemory } from "./shelf-in-memory.js";

const PERSON = "Tobi Larch";
let stub, shelf, node;

beforeEach(async () => {
  stub = new Stub();
  shelf = new ShelfInMemory();
  node = createNode(shelf, await stub.start());
  await shelf.setSession({ token: stub.token, person: PERSON, phone: "tobi-phone", closed: false });
});
afterEach(() => stub.stop());

const keep = (what, more = {}) =>
  shelf.add({
    entry: `id-of-${what}`,
    at: "2026-11-06T16:01:09+00:00",
    path: "/log",
    fields: [["kind", "used"], ["what", what], ["quantity", "2"]],
    shown: [],
    title: what,
    person: PERSON,
    photos: [],
    state: "waiting",
    reason: "",
    ...more,
  });
const send = () => sendDue(shelf, node);
const saved = () => stub.saved.map(({ fields }) => fields.what);

test("what was kept is sent in the order it was made, with its own id and time", async () => {
  for (const what of ["stud", "screw", "board"]) await keep(what);
  assert.deepEqual(await send(), { sent: 3, refused: 0, left: 0, stopped: "" });
  assert.deepEqual(saved(), ["stud", "screw", "board"]);
  assert.deepEqual(stub.saved[0].fields, {
    kind: "used", what: "stud", quantity: "2",
    token: stub.token, entry: "id-of-stud", at: "2026-11-06T16:01:09+00:00",
  });
});

test("a node out of reach leaves all as it was", async () => {
  await keep("stud");
  stub.isDown = true;
  assert.deepEqual(await send(), { sent: 0, refused: 0, left: 1, stopped: "unreachable" });
  stub.isDown = false;
  assert.equal((await send()).sent, 1);
});

test("a lost answer leads to sending again, and still to one entry", async () => {
  for (const what of ["stud", "screw"]) await keep(what);
  stub.answersToLose = 2;
  assert.equal((await send()).stopped, "unreachable");
  assert.equal((await send()).stopped, "unreachable");
  assert.deepEqual(await send(), { sent: 2, refused: 0, left: 0, stopped: "" });
  assert.deepEqual(saved(), ["stud", "screw"]);
  assert.equal(stub.posts, 4, "the first was posted three times");
});

test("a refused one stays with its reason, the others go on, and mended it goes with its own id", async () => {
  for (const what of ["stud", "nothing we know", "board"]) await keep(what);
  stub.refuses = ({ what }) => (what === "nothing we know" ? "there is no such item" : "");
  assert.deepEqual(await send(), { sent: 2, refused: 1, left: 1, stopped: "" });
  const [refused] = await shelf.all();
  assert.deepEqual([refused.state, refused.reason], ["refused", "there is no such item"]);
  assert.equal((await send()).sent, 0, "it does not go again by itself");
  await mend(shelf, refused, [["kind", "used"], ["what", "screw"], ["quantity", "2"]]);
  assert.deepEqual(await send(), { sent: 1, refused: 0, left: 0, stopped: "" });
  assert.deepEqual(saved(), ["stud", "board", "screw"]);
  assert.equal(stub.saved[2].fields.entry, "id-of-nothing we know");
});

test("a closed session stops everything and loses nothing, also after the next try", async () => {
  for (const what of ["stud", "screw"]) await keep(what);
  stub.isClosed = true;
  assert.deepEqual(await send(), { sent: 0, refused: 0, left: 2, stopped: "closed" });
  assert.equal((await shelf.session()).closed, true);
  stub.isClosed = false;
  assert.equal((await send()).stopped, "closed", "only a new page opens it again");
  assert.equal(stub.posts, 0);
});

test("what one person made is not sent in another's session", async () => {
  await keep("stud");
  await shelf.setSession({ token: stub.token, person: "Ines Quill", phone: "ines-phone", closed: false });
  await keep("screw", { person: "Ines Quill" });
  assert.deepEqual(await send(), { sent: 1, refused: 0, left: 1, stopped: "" });
  assert.deepEqual(saved(), ["screw"]);
});

test("a line to go through is not sent by itself", async () => {
  await keep("two bags multi", { state: "said", path: "/said" });
  assert.deepEqual(await send(), { sent: 0, refused: 0, left: 1, stopped: "" });
});

test("a token that went stale is fetched anew, once", async () => {
  await keep("stud");
  stub.token = "token-2";
  assert.equal((await send()).sent, 1);
  assert.equal((await shelf.session()).token, "token-2");
  assert.equal(stub.posts, 2);
});

test("a photo goes before its entry, and goes on where it was cut off", async () => {
  const bytes = new Uint8Array(700_000).map((_, index) => index % 251);
  await shelf.addPhoto({ id: "p1", bytes: bytes.buffer, kept: 0 });
  await keep("north wall", { photos: ["p1"], fields: [["kind", "photo"], ["photo", "p1"]] });
  stub.cutPhotoAt = 1000;
  assert.equal((await send()).stopped, "unreachable");
  assert.deepEqual(saved(), [], "no entry names a photo that the node lacks");
  assert.deepEqual(await send(), { sent: 1, refused: 0, left: 0, stopped: "" });
  assert.deepEqual(new Uint8Array(stub.photos.get("p1")), bytes);
  assert.equal(await shelf.photo("p1"), undefined, "what was sent takes no more room");
});

test("dropping takes its photos with it", async () => {
  await shelf.addPhoto({ id: "p1", bytes: new ArrayBuffer(1), kept: 0 });
  await keep("north wall", { photos: ["p1"] });
  await drop(shelf, (await shelf.all())[0]);
  assert.deepEqual([await shelf.all(), await shelf.photos()], [[], []]);
});

test("tries grow apart, up to five minutes", () => {
  assert.deepEqual([1, 2, 3, 7, 50].map(pause), [5_000, 10_000, 20_000, 300_000, 300_000]);
});

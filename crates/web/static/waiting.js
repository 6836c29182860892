/**
 * The list of what is kept on this phone: what waits, what the node did not save and why, and what was
 * made in a session that is over. It can be mended, dropped, or written to a file.
 *
 * @typedef {import("./shelf.js").Kept} Kept
 * @typedef {import("./shelf.js").Session} Session
 */

import { asCsv, asJson, download } from "./export.js";
import { refresh } from "./live.js";
import { make } from "./make.js";
import { morph } from "./morph.js";
import { drop, mend } from "./queue.js";
import { alone, keepSending, onQueue, startSending, tell } from "./sending.js";
import { shelf } from "./shelf.js";

/** Writes down whose session this page is, so that the worker can send when no page is open. */
async function rememberSession() {
  const { formToken, person, phone, heardAt } = document.body.dataset;
  // A page from the cache tells of the past.
  if (formToken === undefined || heardAt !== undefined) return;
  const before = await shelf.session();
  const isSomebodyElse = before !== undefined && before.person !== (person ?? "");
  if (isSomebodyElse) await globalThis.caches?.delete("screens");
  await shelf.setSession({ token: formToken, person: person ?? "", phone: phone ?? "", closed: false });
}

/** @param {Session | undefined} session */
function isClosed(session) {
  const { formToken, offline } = document.body.dataset;
  return session?.closed || (formToken === undefined && offline === undefined);
}

/** @param {Kept} kept @param {Session | undefined} session */
function statusOf(kept, session) {
  if (kept.state === "refused") return `not saved, because ${kept.reason.replace(/^not saved, because /, "")}`;
  if (kept.state === "said") return "not gone through yet";
  if (session && kept.person !== session.person) return `not sent: made by ${kept.person || "somebody else"}`;
  return "not sent yet";
}

/** @param {Kept} kept */
function mendForm(kept) {
  const form = make("form", { class: "mend", onsubmit: mended });
  for (const [name, value] of kept.fields) {
    const shown = kept.shown.find((field) => field.name === name);
    if (!shown) continue;
    const field = shown.options
      ? make("select", { name }, ...shown.options.map(([option, text]) => make("option", { value: option }, text)))
      : make("input", { name, type: shown.type ?? "text" });
    field.value = value;
    form.append(make("label", {}, `${shown.label} `, field));
  }
  form.append(make("button", {}, "Send it again"));
  return form;

  /** @param {SubmitEvent} event */
  async function mended(event) {
    event.preventDefault();
    event.stopPropagation();
    const told = new FormData(form);
    const fields = kept.fields.map(([name, value]) => [name, told.has(name) ? String(told.get(name)) : value]);
    await alone(() => mend(shelf, kept, fields));
    tell("kept");
    await keepSending();
  }
}

/** @param {Kept} kept */
function actions(kept) {
  const dropped = async () => {
    await alone(() => drop(shelf, kept));
    tell("kept");
  };
  const name = `kept-${kept.entry}`;
  if (kept.state === "said") {
    const { formToken } = document.body.dataset;
    const told = [...kept.fields, ["at", kept.at], ...(formToken === undefined ? [] : [["token", formToken]])];
    return make("div", { class: "acts" },
      make("form", { action: kept.path, method: kept.method ?? "post" },
        ...told.map(([field, value]) => make("input", { type: "hidden", name: field, value })),
        make("button", { "aria-describedby": name }, "Go through it")),
      make("button", { type: "button", onclick: dropped, "aria-describedby": name }, "Drop it"));
  }
  return make("div", { class: "acts" },
    make("details", { id: `mend-${kept.entry}` }, make("summary", { "aria-describedby": name }, "Change"), mendForm(kept)),
    make("button", { type: "button", onclick: dropped, "aria-describedby": name }, "Drop it"));
}

/** @param {Kept} kept @param {Session | undefined} session */
function line(kept, session) {
  const needsHand = kept.state !== "waiting" || kept.person !== session?.person;
  return make("li", { class: `kept ${kept.state}`, id: `li-${kept.entry}` },
    make("time", { datetime: kept.at }, kept.at.slice(11, 16)), " ",
    make("span", { id: `kept-${kept.entry}` }, kept.title), " ",
    make("em", {}, statusOf(kept, session)),
    ...(needsHand ? [actions(kept)] : []));
}

/** @param {Session | undefined} session */
function exports(session) {
  const save = (name, type, write) => async () => {
    const photos = await shelf.photos();
    download(name, type, write(await shelf.all(), photos, session));
  };
  return make("p", { class: "acts" },
    "Nothing is lost. Save it as a file for the boss: ",
    make("button", { type: "button", onclick: save("not-sent.csv", "text/csv", asCsv) }, "as a table (CSV)"), " ",
    make("button", { type: "button", onclick: save("not-sent.json", "application/json", asJson) }, "with photos (JSON)"));
}

/** Draws the list anew, and leaves alone what somebody is mending in it. */
async function draw() {
  const [kept, session] = [await shelf.all(), await shelf.session()];
  const old = document.getElementById("not-sent");
  if (!kept.length) {
    old?.remove();
    return;
  }
  const section = make("section", { id: "not-sent", "data-kept": "", "aria-labelledby": "not-sent-title" },
    make("h2", { id: "not-sent-title" }, "On this phone only"),
    make("ol", {}, ...kept.map((one) => line(one, session))),
    ...(isClosed(session) ? [make("p", {}, "This phone's session is closed, so nothing is sent."), exports(session)] : []));
  if (old) morph(old, section);
  place(old ?? section, kept.some((one) => one.state === "refused"));
}

/**
 * Among the entries; but what was not saved stands before everything.
 * @param {HTMLElement} section
 * @param {boolean} first
 */
function place(section, first) {
  const main = document.getElementById("main") ?? document.body;
  const parent = first ? main : (document.getElementById("entries") ?? main);
  if (section.parentElement !== parent) parent.prepend(section);
}

/** Begins to show what is kept, and to send it. */
export async function startWaiting() {
  await rememberSession();
  onQueue(async (what) => {
    await draw();
    if (what === "sent" && !document.hidden) await refresh();
    // The node then shows how to get in again. A page from the cache would only come from there again.
    const { formToken, heardAt } = document.body.dataset;
    if (what === "closed" && formToken !== undefined && heardAt === undefined) location.reload();
  });
  await draw();
  startSending();
}

/**
 * Forms that may be sent later: what a person enters is kept on the phone first and then sent, so that
 * nothing is lost between. It never changes what a form says.
 *
 * @typedef {import("./shelf.js").Kept} Kept
 * @typedef {import("./shelf.js").Shown} Shown
 */

import { announce } from "./announce.js";
import { refresh } from "./live.js";
import { moment, newId } from "./moment.js";
import { isReached } from "./node.js";
import { photosOf } from "./photos.js";
import { keepSending, tell } from "./sending.js";
import { shelf } from "./shelf.js";

/** What the node is told apart from the entry itself. */
const ENVELOPE = ["token", "entry", "at", "back"];
/** So long one waits for the node before the page goes on without its answer. */
const PATIENCE_MS = 4_000;

/**
 * Where a kept form is sent. Without scripts a form with photos goes to `/photos` as one piece; here its
 * photos are sent before it, and it is an entry like any other.
 * @param {HTMLFormElement} form
 */
function path(form) {
  const named = new URL(form.action).pathname;
  return named === "/photos" ? "/log" : named;
}

/** @param {HTMLFormElement} form */
function isKept(form) {
  return form.dataset.queue !== undefined || path(form) === "/log";
}

/**
 * The words beside a field, without the field's own.
 * @param {HTMLElement} field
 */
function labelOf(field) {
  const label = field.getAttribute("aria-label") ?? field.labels?.[0]?.textContent ?? field.name;
  return label.trim().replace(/\s+/g, " ");
}

/**
 * @param {HTMLFormElement} form
 * @returns {Shown[]}
 */
function shownOf(form) {
  /** @type {Shown[]} */
  const shown = [];
  for (const field of form.elements) {
    const isForPeople = field.name && field.type !== "hidden" && field.type !== "file" && field.type !== "submit";
    if (!isForPeople || ENVELOPE.includes(field.name) || shown.some(({ name }) => name === field.name)) continue;
    const options = field instanceof HTMLSelectElement
      ? { options: [...field.options].map((option) => [option.value, option.text]) }
      : {};
    shown.push({ name: field.name, label: labelOf(field), ...options });
  }
  return shown;
}

/**
 * The line that stands for it while it is not sent.
 * @param {HTMLFormElement} form
 * @param {HTMLElement | null} button
 * @param {[string, string][]} fields
 */
function titleOf(form, button, fields) {
  const says = button?.dataset.says ?? form.dataset.says;
  const value = (name) => fields.find(([field]) => field === name)?.[1] ?? "";
  if (says) return says.replace(/\{(\w+)\}/g, (_, name) => value(name)).replace(/\s+/g, " ").trim();
  const hidden = (name) => form.elements.namedItem(name)?.type === "hidden";
  const told = fields.filter(([name, text]) => text && (name === "kind" || !hidden(name))).map(([, text]) => text);
  return told.join(" · ") || button?.textContent.trim() || path(form);
}

/**
 * @param {HTMLFormElement} form
 * @param {HTMLElement | null} button
 * @returns {Kept}
 */
function keptOf(form, button) {
  const data = new FormData(form, button);
  const fields = [...data]
    .filter(([name, value]) => !ENVELOPE.includes(name) && typeof value === "string")
    .map(([name, value]) => [name, String(value)]);
  const photos = photosOf(form);
  for (const { name, id } of photos) fields.push([name, id]);
  return {
    entry: newId(),
    at: moment(),
    path: path(form),
    fields,
    shown: shownOf(form),
    title: titleOf(form, button, fields),
    person: document.body.dataset.person ?? "",
    photos: photos.map(({ id }) => id),
    state: form.dataset.queue === "said" ? "said" : "waiting",
    reason: "",
  };
}

/**
 * Waits for an answer, but not for long: the entry is kept, so the person can go on.
 * @param {Promise<import("./queue.js").Report>} sending
 */
function inPatience(sending) {
  const late = new Promise((resolve) => setTimeout(() => resolve({ sent: 0, refused: 0, stopped: "unreachable" }), PATIENCE_MS));
  return Promise.race([sending, late]);
}

/** @param {SubmitEvent} event */
async function submitted(event) {
  const form = event.target;
  if (event.defaultPrevented || !isKept(form)) return;
  event.preventDefault();
  const button = event.submitter;
  if (form.dataset.queue === "said" && (await isReached())) {
    form.submit();
    return;
  }
  const kept = keptOf(form, button);
  try {
    await shelf.add(kept);
  } catch {
    // A browser that may not keep anything can still send.
    form.submit();
    return;
  }
  const back = form.elements.namedItem("back")?.value;
  form.reset();
  form.dispatchEvent(new CustomEvent("kept", { bubbles: true }));
  tell("kept");
  if (kept.state === "said") {
    announce("Kept on this phone, to go through when there is signal.");
    return;
  }
  const report = await inPatience(keepSending());
  if (report.refused) announce("Not saved; see why above.");
  else if (report.sent) announce("Saved.");
  else announce("Kept on this phone; not sent yet.");
  if (back && back !== location.pathname + location.search) location.assign(back);
  else if (report.sent) await refresh();
}

/** Begins to keep what is entered. */
export function startForms() {
  document.addEventListener("submit", submitted);
}

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
/** What is always kept: its node takes the phone's own id, so that sending it again changes nothing. */
const KEPT_PATHS = /^\/(log|photos|photos\/survey|do\/(start|switch|stop|correct|strike|(change|split|strike)-spell|accept|settle|survey))$/;
/** So long one waits for the node before the page goes on without its answer. */
const PATIENCE_MS = 4_000;

/** @param {HTMLFormElement} form @param {HTMLElement | null} button */
function pathOf(form, button) {
  const action = button?.hasAttribute("formaction") ? button.formAction : form.action;
  return new URL(action).pathname;
}

/** @param {HTMLFormElement} form @param {HTMLElement | null} button */
function isKept(form, button) {
  return form.dataset.queue !== undefined || KEPT_PATHS.test(pathOf(form, button));
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
 * The fields that a person filled, so that they can be mended later without this form.
 * @param {HTMLFormElement} form
 * @returns {Shown[]}
 */
function shownOf(form) {
  /** @type {Map<string, Shown>} */
  const shown = new Map();
  for (const field of form.elements) {
    const { name, type } = field;
    const isForPeople = name && !["hidden", "file", "submit", "button", "checkbox", "fieldset"].includes(type);
    if (!isForPeople || ENVELOPE.includes(name)) continue;
    if (type === "radio") {
      const label = field.closest("fieldset")?.querySelector("legend")?.textContent.trim() ?? name;
      const group = shown.get(name) ?? { name, label, options: [] };
      group.options.push([field.value, labelOf(field)]);
      shown.set(name, group);
    } else if (field instanceof HTMLSelectElement) {
      shown.set(name, { name, label: labelOf(field), options: [...field.options].map(({ value, text }) => [value, text]) });
    } else {
      shown.set(name, { name, label: labelOf(field), type });
    }
  }
  return [...shown.values()];
}

/**
 * The line that stands for it while it is not sent.
 * @param {HTMLFormElement} form
 * @param {HTMLElement | null} button
 * @param {[string, string][]} fields
 * @param {Shown[]} shown
 */
function titleOf(form, button, fields, shown) {
  const value = (name) => fields.find(([field]) => field === name)?.[1] ?? "";
  const says = button?.dataset.says ?? form.dataset.says;
  if (says) return says.replace(/\{(\w+)\}/g, (_, name) => value(name)).replace(/\s+/g, " ").trim();
  if (button && pathOf(form, button).startsWith("/do/")) {
    const words = button.textContent.trim();
    const stage = pathOf(form, button) === "/do/switch" ? `switch to ${words}` : `${words} ${value("stage")}`;
    return stage.trim();
  }
  return shown.map(({ name }) => value(name)).filter((text) => text !== "").join(" · ") || pathOf(form, button);
}

/**
 * @param {HTMLFormElement} form
 * @param {HTMLElement | null} button
 * @returns {Kept}
 */
function keptOf(form, button) {
  const fields = [...new FormData(form, button)]
    .filter(([name, value]) => !ENVELOPE.includes(name) && typeof value === "string")
    .map(([name, value]) => [name, String(value)]);
  const photos = photosOf(form);
  for (const { name, id } of photos) fields.push([name, id]);
  const path = pathOf(form, button);
  const shown = shownOf(form);
  return {
    entry: newId(),
    at: moment(),
    // Photos go before by themselves; what is left of such a form is an entry.
    path: path === "/photos" ? "/log" : path.replace(/^\/photos\//, "/do/"),
    method: form.method,
    fields,
    shown,
    title: titleOf(form, button, fields, shown),
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

/** Forms that are being kept: a finger that shakes presses once. @type {WeakSet<HTMLFormElement>} */
const beingKept = new WeakSet();
/** Forms whose node was just heard from. @type {WeakSet<HTMLFormElement>} */
const nodeIsThere = new WeakSet();

/**
 * What must not wait on a phone, like money and who belongs to the crew, goes only when the node is there, and
 * otherwise says so and keeps what was entered.
 * @param {SubmitEvent} event @param {HTMLFormElement} form @param {HTMLElement | null} button
 */
async function sendIfReached(event, form, button) {
  event.preventDefault();
  if (!(await isReached())) {
    announce("Not sent, and nothing was saved: this can’t wait on the phone. Try again when the page is reached.");
    return;
  }
  nodeIsThere.add(form);
  form.requestSubmit(button);
}

/** @param {SubmitEvent} event */
async function submitted(event) {
  const form = event.target;
  const button = event.submitter;
  if (event.defaultPrevented) return;
  if (!isKept(form, button)) {
    if (form.getAttribute("method") === "post" && !nodeIsThere.delete(form)) await sendIfReached(event, form, button);
    return;
  }
  event.preventDefault();
  if (form.dataset.queue === "said" && (await isReached())) {
    form.submit();
    return;
  }
  if (beingKept.has(form)) return;
  const kept = keptOf(form, button);
  beingKept.add(form);
  try {
    await shelf.add(kept);
  } catch {
    // A browser that may not keep anything can still send.
    form.submit();
    return;
  } finally {
    beingKept.delete(form);
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
  // The way back to this very screen may be spelt otherwise, and without signal only this spelling is kept.
  if (back && new URL(back, location.href).pathname !== location.pathname) location.assign(back);
  else if (report.sent) await refresh();
}

/** Begins to keep what is entered. */
export function startForms() {
  document.addEventListener("submit", submitted);
}

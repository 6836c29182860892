/**
 * Small things of the screen *Now*: the running time, and buttons that add a pack or half of one.
 */

import { length } from "./moment.js";

/** A minute is all that is shown, so a few looks a minute are enough. */
const TICK_MS = 10_000;

/** Writes how long work has been running. */
function tick() {
  for (const element of document.querySelectorAll("[data-running-since]")) {
    const since = Date.parse(element.dataset.runningSince);
    const minutes = (Date.now() - since) / 60_000 - Number(element.dataset.breakMinutes ?? 0);
    const text = Number.isNaN(since) ? element.textContent : length(minutes);
    if (element.textContent !== text) element.textContent = text;
  }
}

/**
 * Adds to a field. Packs are counted in halves and quarters, which binary fractions hold exactly.
 * @param {HTMLButtonElement} button
 */
function add(button) {
  const field = button.form?.elements.namedItem(button.dataset.to);
  if (!field) return;
  const sum = (Number(field.value.replace(",", ".")) || 0) + Number(button.dataset.add);
  field.value = String(Math.max(0, sum));
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

/** Shows the buttons that only work with scripts. */
function showButtons() {
  document.querySelectorAll("button[data-add]").forEach((button) => (button.hidden = false));
}

/** Begins to tick. */
export function startNow() {
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-add]");
    if (button) add(button);
  });
  document.addEventListener("refreshed", () => {
    showButtons();
    tick();
  });
  showButtons();
  tick();
  setInterval(tick, TICK_MS);
}

/**
 * When the queue is sent: at once, when the phone is back on a network, when the page is opened or looked
 * at again, by the browser in the background where it can, and else after a growing pause. One tab or
 * worker sends at a time.
 */

import { createNode } from "./node.js";
import { pause, sendDue } from "./queue.js";
import { shelf } from "./shelf.js";

const node = createNode(shelf);
/** Tells the other tabs and the worker that what is kept has changed. */
const channel = new BroadcastChannel("fivebar");
/** @type {Set<(what: string) => void>} */
const listeners = new Set();

channel.onmessage = (event) => listeners.forEach((listener) => listener(event.data));

/**
 * Calls back after the queue changed in any tab: `kept` (something was added, mended or dropped),
 * `sent`, `refused`, `closed`, `unreachable`.
 * @param {(what: string) => void} listener
 */
export function onQueue(listener) {
  listeners.add(listener);
}

/** @param {string} what */
export function tell(what) {
  channel.postMessage(what);
  listeners.forEach((listener) => listener(what));
}

/**
 * Runs while no other tab and no worker sends or changes what is kept.
 * @template T
 * @param {() => Promise<T>} work
 * @returns {Promise<T>}
 */
export function alone(work) {
  // Without locks the node's knowledge of ids still keeps every entry single.
  return navigator.locks ? navigator.locks.request("fivebar-queue", work) : work();
}

/** Sends what is due, and tells what came of it. */
export async function sendNow() {
  const report = await alone(() => sendDue(shelf, node));
  if (report.sent) tell("sent");
  if (report.refused) tell("refused");
  if (report.stopped) tell(report.stopped);
  return report;
}

let failures = 0;
/** @type {number | undefined} */
let timer;

/** Sends now and, while something is left and the node is not reached, tries again by itself. */
export async function keepSending() {
  clearTimeout(timer);
  const report = await sendNow();
  if (report.stopped === "unreachable") {
    failures += 1;
    timer = setTimeout(keepSending, pause(failures));
    askForBackgroundSync();
  } else {
    failures = 0;
  }
  return report;
}

/** Has the browser wake the worker when there is a network again, also after the page is closed. */
async function askForBackgroundSync() {
  const registration = await navigator.serviceWorker?.getRegistration();
  await registration?.sync?.register("send").catch(() => undefined);
}

/** Begins to watch for the network. */
export function startSending() {
  const again = () => {
    failures = 0;
    keepSending();
  };
  addEventListener("online", again);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && again());
  again();
}

/**
 * Gets this phone ready for where there is no signal, and says while it is not: who goes into a cellar must
 * know before. The worker keeps the files and screens; this asks it until it says that it has them.
 */

import { announce } from "./announce.js";
import { make } from "./make.js";
import { pause } from "./queue.js";

/** With good signal a phone is ready sooner, and then nothing is said. */
const GRACE_MS = 2_000;
/** So long one waits for the worker's answer before asking again. */
const PATIENCE_MS = 30_000;
/** Most screens that are kept unseen; a job with more stages is rare, and each costs its download once. */
const MOST_SCREENS = 40;

const NOT_YET = "Not ready to work without signal yet. Stay where there is some.";
const NEVER = "This browser opens the page only where there is signal.";
const NOT_TRUSTED = "This phone does not trust the page yet, so it can’t open it without signal.";

/**
 * Registering again is how an install that failed is tried again.
 * @returns {Promise<ServiceWorker>} the worker once it has all files
 */
async function activeWorker() {
  const registration = await navigator.serviceWorker.register("/worker.js", { type: "module", scope: "/" });
  if (registration.active) return registration.active;
  const worker = registration.installing ?? registration.waiting;
  if (!worker) throw new Error("the worker is gone");
  return new Promise((resolve, reject) => {
    const look = () => {
      if (worker.state === "activated") resolve(worker);
      if (worker.state === "redundant") reject(new Error("not all files came"));
    };
    worker.addEventListener("statechange", look);
    look();
  });
}

/** This screen, those at its foot, and *Now* of every job and stage to choose from. */
function screens() {
  const links = [...document.querySelectorAll("nav a, a.choice")].map((link) => link.href);
  const here = location.href.replace(/#.*/, "");
  return [...new Set([here, ...links])].filter((address) => address.startsWith(location.origin)).slice(0, MOST_SCREENS);
}

/**
 * Has the worker take charge of this page and keep what it shows.
 * @param {ServiceWorker} worker
 * @returns {Promise<void>} fails if something is missing
 */
function askWorker(worker) {
  const { port1, port2 } = new MessageChannel();
  return new Promise((resolve, reject) => {
    const late = setTimeout(() => reject(new Error("the worker did not answer")), PATIENCE_MS);
    port1.onmessage = ({ data }) => {
      clearTimeout(late);
      port1.close();
      if (data.isReady) resolve();
      else reject(new Error("not all screens came"));
    };
    worker.postMessage({ screens: screens() }, [port2]);
  });
}

/** @param {string} sentence nothing to take the line away @param {...Node} more */
function say(sentence, ...more) {
  const old = document.getElementById("not-ready");
  if (old?.dataset.sentence === sentence) return;
  old?.remove();
  if (!sentence) return;
  const line = make("p", { id: "not-ready", class: "last-heard", role: "status", "data-sentence": sentence }, sentence, ...more);
  document.getElementById("main")?.before(line);
}

let failures = 0;
/** @type {number | undefined} */
let timer;

async function getReady() {
  clearTimeout(timer);
  const isNew = navigator.serviceWorker.controller === null;
  const soon = setTimeout(() => say(NOT_YET), GRACE_MS);
  try {
    await askWorker(await activeWorker());
    clearTimeout(soon);
    if (isNew || document.getElementById("not-ready")) announce("Ready: this phone now works without signal, too.");
    failures = 0;
    say("");
  } catch (error) {
    clearTimeout(soon);
    failures += 1;
    timer = setTimeout(getReady, pause(failures));
    // A certificate that was only waved through gets the page and no worker.
    if (error.name === "SecurityError") say(NOT_TRUSTED, " ", make("a", { href: "/trust" }, "How to trust it"));
    else say(NOT_YET);
  }
}

/** Begins to get ready, on a screen of the page that came from the node. */
export function startOffline() {
  const { formToken, heardAt } = document.body.dataset;
  const isScreen = formToken !== undefined && heardAt === undefined;
  // Browsers give no worker to a page that came over plain HTTP from another machine.
  if (!navigator.serviceWorker) {
    if (isScreen) say(NEVER);
    return;
  }
  if (!isScreen) {
    // At the door it may already begin; nothing is lost if that fails.
    activeWorker().catch(() => undefined);
    return;
  }
  addEventListener("online", () => failures && getReady());
  getReady();
}

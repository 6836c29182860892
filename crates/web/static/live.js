/**
 * What arrives from another device appears without reload. It never takes a half-filled form, the focus
 * or the place on the page from who is using it.
 */

import { morph } from "./morph.js";

/** Changes come in bursts when two devices meet. */
const GATHER_MS = 300;

/** @type {Promise<void> | undefined} */
let running;
let again = false;

/** Fetches this screen and mends the page to it. Without the node the page stays as it is. */
export function refresh() {
  // One after the other: an older answer must not overwrite a newer one.
  if (running) {
    again = true;
    return running;
  }
  running = (async () => {
    do {
      again = false;
      await refreshOnce();
    } while (again);
  })().finally(() => (running = undefined));
  return running;
}

async function refreshOnce() {
  let response;
  try {
    const address = location.pathname + location.search;
    const headers = { Accept: "text/html", "X-Refresh": "1" };
    response = await fetch(address, { headers, cache: "no-store", redirect: "manual" });
  } catch {
    return;
  }
  // Without a session every screen leads to the door.
  if (response.type === "opaqueredirect" || response.status === 401) location.reload();
  if (!response.ok) return;
  const hadFocus = document.getElementById("main")?.contains(document.activeElement);
  const fresh = new DOMParser().parseFromString(await response.text(), "text/html");
  for (const id of ["safety", "main"]) {
    const [old, now] = [document.getElementById(id), fresh.getElementById(id)];
    if (old && now) morph(old, now);
  }
  if (hadFocus && document.activeElement === document.body) focusMain();
  document.title = fresh.title;
  delete document.body.dataset.heardAt;
  document.getElementById("last-heard")?.remove();
  document.dispatchEvent(new Event("refreshed"));
}

/** The button that was pressed is gone, so a keyboard goes on from the top of the screen. */
function focusMain() {
  const main = document.getElementById("main");
  main.tabIndex = -1;
  main.focus({ preventScroll: true });
}

/** Says when the page was last true, if the worker had to give an old one. */
function showLastHeard() {
  const heardAt = document.body.dataset.heardAt;
  if (heardAt === undefined) return;
  const line = document.createElement("p");
  line.id = "last-heard";
  line.className = "last-heard";
  line.setAttribute("role", "status");
  line.dataset.kept = "";
  line.textContent = `No signal. Last heard at ${when(new Date(heardAt))}.`;
  document.getElementById("main")?.before(line);
}

/** @param {Date} date */
function when(date) {
  const time = date.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  const isToday = date.toDateString() === new Date().toDateString();
  return isToday ? time : `${time} on ${date.toLocaleDateString([], { weekday: "long", day: "numeric", month: "long" })}`;
}

/** Begins to listen, while somebody looks. */
export function startLive() {
  showLastHeard();
  if (document.body.dataset.formToken === undefined) return;
  /** @type {EventSource | undefined} */
  let source;
  /** @type {number | undefined} */
  let timer;
  const changed = () => {
    clearTimeout(timer);
    timer = setTimeout(refresh, GATHER_MS);
  };
  const listen = () => {
    source?.close();
    source = new EventSource("/live");
    source.addEventListener("changed", changed);
    source.addEventListener("closed", () => location.reload());
    // Something may have changed while nobody listened.
    source.addEventListener("open", () => wasCut && changed());
    source.addEventListener("error", () => (wasCut = true));
  };
  let wasCut = document.body.dataset.heardAt !== undefined;
  const look = () => {
    if (document.hidden) {
      source?.close();
      wasCut = true;
    } else {
      listen();
    }
  };
  document.addEventListener("visibilitychange", look);
  // An open stream keeps a page from being shown again at once by the back button.
  addEventListener("pagehide", () => source?.close());
  addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    wasCut = true;
    look();
  });
  look();
}

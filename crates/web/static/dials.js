/**
 * A clock face and buttons for a time of day. The browser's own time field stays: it is what keyboards and
 * screen readers use, and what is sent. The face is for a thumb, and has no gesture without a button.
 */

import { make } from "./make.js";

const DAY_MINUTES = 24 * 60;
const TURN_MINUTES = 12 * 60;
/** A thumb hits a quarter of an hour; the buttons go finer. */
const DRAG_STEP_MINUTES = 15;
const STEPS = [["−15", -15], ["−5", -5], ["+5", 5], ["+15", 15]];
const SVG = "http://www.w3.org/2000/svg";

/** @param {string} text `07:45` @returns {number} minutes since midnight; not a number for an empty field */
export function minutesOf(text) {
  const [hours, minutes] = text.split(":").map(Number);
  return hours * 60 + minutes;
}

/** @param {number} minutes any, also past midnight @returns {string} */
export function timeOf(minutes) {
  const within = ((minutes % DAY_MINUTES) + DAY_MINUTES) % DAY_MINUTES;
  return `${String(Math.floor(within / 60)).padStart(2, "0")}:${String(within % 60).padStart(2, "0")}`;
}

/**
 * The time that a place on the face means. The face shows half a day, so of the two times that it can
 * mean, the nearer to the last one is taken: turning on past twelve goes into the afternoon.
 * @param {number} x right of the middle
 * @param {number} y below the middle
 * @param {number} last minutes since midnight
 * @returns {number} minutes since midnight
 */
export function minutesAt(x, y, last) {
  const turn = (Math.atan2(x, -y) / (2 * Math.PI) + 1) % 1;
  const onFace = Math.round((turn * TURN_MINUTES) / DRAG_STEP_MINUTES) * DRAG_STEP_MINUTES;
  const near = Math.round((last - onFace) / TURN_MINUTES) * TURN_MINUTES + onFace;
  return ((near % DAY_MINUTES) + DAY_MINUTES) % DAY_MINUTES;
}

/** @param {string} name @param {Record<string, string | number>} attributes @param {...Node} children */
function drawn(name, attributes, ...children) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  element.append(...children);
  return element;
}

/** @type {Map<HTMLInputElement, {dial: HTMLElement, draw: () => void}>} */
const dials = new Map();

/**
 * The row of dials below the fields that stand beside each other.
 * @param {HTMLInputElement} field
 */
function rowOf(field) {
  const beside = (field.closest("label") ?? field).parentElement;
  const row = beside.querySelector(":scope > .dials") ?? make("div", { class: "dials", "data-kept": "" });
  if (!row.isConnected) beside.append(row);
  return row;
}

/** @param {HTMLInputElement} field */
function enhance(field) {
  const minuteHand = drawn("line", { class: "minute", x1: 0, y1: 8, x2: 0, y2: -70 });
  const hourHand = drawn("line", { class: "hour", x1: 0, y1: 8, x2: 0, y2: -46 });
  const strokes = Array.from({ length: 12 }, (_, hour) =>
    drawn("line", { x1: 0, y1: hour % 3 ? -84 : -78, x2: 0, y2: -92, transform: `rotate(${hour * 30})` }));
  const face = drawn("svg", { class: "face", viewBox: "-100 -100 200 200", "aria-hidden": "true" },
    drawn("circle", { r: 96 }), ...strokes, hourHand, minuteHand);

  const now = () => (field.value ? minutesOf(field.value) : minutesOf(timeOf(new Date().getHours() * 60)));
  const draw = () => {
    const minutes = now();
    hourHand.setAttribute("transform", `rotate(${minutes / 2})`);
    minuteHand.setAttribute("transform", `rotate(${(minutes % 60) * 6})`);
  };
  const set = (minutes) => {
    field.value = timeOf(minutes);
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const turn = (event) => {
    const box = face.getBoundingClientRect();
    set(minutesAt(event.clientX - box.x - box.width / 2, event.clientY - box.y - box.height / 2, now()));
  };
  face.addEventListener("pointerdown", (event) => {
    face.setPointerCapture(event.pointerId);
    turn(event);
  });
  face.addEventListener("pointermove", (event) => face.hasPointerCapture(event.pointerId) && turn(event));
  field.addEventListener("input", draw);
  field.form?.addEventListener("reset", () => queueMicrotask(draw));

  const called = field.labels?.[0]?.textContent.trim() ?? field.name;
  const buttons = STEPS.map(([text, minutes]) => {
    const label = `${text}, ${called} ${Math.abs(minutes)} minutes ${minutes < 0 ? "earlier" : "later"}`;
    return make("button", { type: "button", "aria-label": label, onclick: () => set(now() + minutes) }, text);
  });
  const dial = make("div", { class: "dial" }, face, make("div", { class: "steps" }, ...buttons));
  rowOf(field).append(dial);
  dials.set(field, { dial, draw });
  draw();
}

/** Draws the dials that are missing, and takes away those whose field has left the page. */
function drawAll() {
  for (const [field, { dial, draw }] of dials) {
    if (field.isConnected) {
      draw();
    } else {
      dial.remove();
      dials.delete(field);
    }
  }
  const fields = document.querySelectorAll("input[type=time][data-dial]");
  [...fields].filter((field) => !dials.has(field)).forEach(enhance);
}

/** Begins to draw dials, also on what is mended in later. */
export function startDials() {
  document.addEventListener("refreshed", drawAll);
  drawAll();
}

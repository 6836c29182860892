/**
 * Says a sentence on the screen and to screen readers, where it disturbs nothing.
 */

/** Long enough to read a sentence twice. */
const SHOWN_MS = 8_000;
/** @type {number | undefined} */
let timer;

/** @param {string} sentence */
export function announce(sentence) {
  let line = document.getElementById("announcement");
  if (!line) {
    line = document.createElement("p");
    line.id = "announcement";
    line.className = "announcement";
    line.setAttribute("role", "status");
    document.body.append(line);
  }
  line.textContent = sentence;
  clearTimeout(timer);
  timer = setTimeout(() => (line.textContent = ""), SHOWN_MS);
}

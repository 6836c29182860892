/**
 * Says a sentence on the screen and to screen readers, where it disturbs nothing.
 */

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
}

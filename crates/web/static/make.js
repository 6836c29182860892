/**
 * Makes elements. Text goes in as text, so nothing that somebody typed is ever read as HTML.
 */

/**
 * @param {string} tag
 * @param {Record<string, string | ((event: Event) => void)>} attributes a function listens to the event `on…`
 * @param {...(Node | string)} children
 * @returns {HTMLElement}
 */
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value);
  }
  element.append(...children);
  return element;
}

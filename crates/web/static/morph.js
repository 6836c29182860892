/**
 * Mends a part of the page to what it should be, in place, and leaves alone what somebody is using: forms
 * that are filled or hold the focus, what scripts added (`data-kept`), details that were opened.
 */

/** @param {Node} node @returns {string} what makes two elements the same one */
function keyOf(node) {
  if (!(node instanceof Element)) return "";
  return node.id || node.getAttribute("data-key") || "";
}

/** @param {Node} left @param {Node} right */
function isSame(left, right) {
  const isAlike = left.nodeType === right.nodeType && left.nodeName === right.nodeName && keyOf(left) === keyOf(right);
  // "Start work" in the place of "Stop work" is another form.
  return isAlike && (left.nodeName !== "FORM" || left.getAttribute("action") === right.getAttribute("action"));
}

/** @param {Node} node */
const isKept = (node) => node instanceof HTMLElement && node.dataset.kept !== undefined;

/** @param {Element} field @returns {boolean} whether somebody changed it */
function isChanged(field) {
  if (field instanceof HTMLSelectElement) {
    const chosen = [...field.options].findIndex((option) => option.defaultSelected);
    return field.selectedIndex !== Math.max(0, chosen);
  }
  if (field.type === "checkbox" || field.type === "radio") return field.checked !== field.defaultChecked;
  if (field.type === "hidden" || field.type === "submit" || field.type === "button") return false;
  return "defaultValue" in field && field.value !== field.defaultValue;
}

/** @param {Node} node */
function isInUse(node) {
  if (!(node instanceof HTMLFormElement)) return false;
  const isFilled = [...node.elements].some(isChanged) || node.querySelector("[data-kept].thumbnail") !== null;
  // Who has just pressed a button is done with the form.
  const focused = document.activeElement;
  const isWriting = node.contains(focused) && focused.matches("input, select, textarea");
  return isFilled || isWriting;
}

/** @param {Element} old @param {Element} fresh */
function mendAttributes(old, fresh) {
  for (const { name } of [...old.attributes]) {
    // What was opened stays open, and a button that scripts have shown stays shown.
    const isOurs = name === "open" || name === "hidden";
    if (!fresh.hasAttribute(name) && !isOurs) old.removeAttribute(name);
  }
  for (const { name, value } of [...fresh.attributes]) {
    const isShownByScript = name === "hidden" && old instanceof HTMLButtonElement;
    if (old.getAttribute(name) !== value && !isShownByScript) old.setAttribute(name, value);
  }
}

/**
 * @param {Element} old what is on the page
 * @param {Element} fresh what it should be; its parts may be taken out of it
 */
export function morph(old, fresh) {
  if (isInUse(old)) return;
  mendAttributes(old, fresh);
  mendChildren(old, fresh);
}

/** @param {Element} old @param {Element} fresh */
function mendChildren(old, fresh) {
  let place = old.firstChild;
  for (const wanted of [...fresh.childNodes]) {
    while (place && isKept(place)) place = place.nextSibling;
    const found = find(place, wanted);
    if (!found) {
      old.insertBefore(wanted, place);
      continue;
    }
    if (found !== place) clearTheWay(place, found);
    place = found.nextSibling;
    if (found instanceof Element) morph(found, wanted);
    else if (found.nodeValue !== wanted.nodeValue) found.nodeValue = wanted.nodeValue;
  }
  while (place) {
    const next = place.nextSibling;
    if (!isKept(place) && !holdsUse(place)) place.remove();
    place = next;
  }
}

/** @param {Node} node @returns {boolean} whether somebody is at work somewhere in it */
function holdsUse(node) {
  return node instanceof Element && (isInUse(node) || [...node.querySelectorAll("form")].some(isInUse));
}

/**
 * The element that stands for the wanted one: by its key anywhere after, without one the very next.
 * @param {Node | null} place
 * @param {Node} wanted
 */
function find(place, wanted) {
  if (!keyOf(wanted)) return place && isSame(place, wanted) ? place : null;
  for (let node = place; node; node = node.nextSibling) {
    if (!isKept(node) && isSame(node, wanted)) return node;
  }
  return null;
}

/**
 * Takes away what stands before the found one, or puts it behind if it may be wanted later. The found one
 * itself is never moved: moving an element takes the focus from it.
 * @param {Node} place
 * @param {Node} found
 */
function clearTheWay(place, found) {
  while (place !== found) {
    const next = place.nextSibling;
    if (keyOf(place) && !isKept(place)) found.parentNode.insertBefore(place, found.nextSibling);
    else if (!isKept(place) && !holdsUse(place)) place.remove();
    place = next;
  }
}

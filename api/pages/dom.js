/* Building elements.
 *
 * Data becomes text nodes, attributes and properties, never markup, so a customer called
 * <b>Ann</b> is shown just so.
 */

/* Set through properties, because as attributes they would only be first values. */
const PROPERTIES = new Set(["value", "checked", "disabled", "hidden", "open", "indeterminate"]);

/** An element: `on…` are listeners, null and false leave an attribute out. */
export function el(tag, attributes = {}, ...children) {
  return built(document.createElement(tag), attributes, children);
}

/** The same for a drawing. */
export function svg(tag, attributes = {}, ...children) {
  return built(document.createElementNS("http://www.w3.org/2000/svg", tag), attributes, children);
}

function built(element, attributes, children) {
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined));
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (PROPERTIES.has(name)) element[name] = value;
    else if (value !== null && value !== undefined && value !== false) {
      element.setAttribute(name, value === true ? "" : value);
    }
  }
  return element;
}

/** The element with an id of index.html. */
export function byId(id) {
  return document.getElementById(id);
}

/** Replace what an element holds. */
export function fill(element, ...children) {
  element.replaceChildren(...children.flat(Infinity).filter((child) => child !== null));
}

let last = 0;

/** An id that no other element has, to tie labels and messages to a field. */
export function freshId(stem) {
  last += 1;
  return `${stem}-${last}`;
}

/** Change a text only if it differs: a live region would read it out again. */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** Fill an element anew only if what it shows has changed.
 *
 * Else a live region would be read out again, and a button would vanish under the finger.
 */
export function redraw(element, shows, build) {
  const key = JSON.stringify(shows);
  if (element.dataset.shows === key) return;
  element.dataset.shows = key;
  fill(element, build());
}

/** 1 dent, 2 dents. */
export function several(count, word) {
  return count === 1 ? `1 ${word}` : `${count} ${word}s`;
}

/** Hand text or a blob to the browser's downloads. */
export function download(content, type, name) {
  const url = URL.createObjectURL(new Blob([content], { type }));
  el("a", { href: url, download: name }).click();
  // The browser reads the blob after the click has returned.
  setTimeout(() => URL.revokeObjectURL(url), 60000);
}

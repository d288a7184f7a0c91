/* Who is at this page: the token that its address brought.
 *
 * It stands after the #, which browsers do not send and servers do not log. It is kept for this
 * window, so that a reload works, and taken out of the address bar, so that nobody reads it over a
 * shoulder or passes it on with a picture of the screen.
 */

import { el, freshId } from "./dom.js";

const KEPT = "hailcalc.token";
const FORM = /^hc_[A-Za-z0-9_-]{20,100}$/;

let held = null;

/** Take the token out of the address, or the one that this window has; null if there is none. */
export function takeToken() {
  const given = location.hash.slice(1);
  if (FORM.test(given)) {
    keep(given);
    history.replaceState(history.state, "", location.pathname + location.search);
  } else if (held === null) {
    try {
      held = sessionStorage.getItem(KEPT);
    } catch {
      held = null;
    }
  }
  return held;
}

/* Another address with a token, put into the bar of a page that is open: browsers only go to the
   place on the page that the # names, and load nothing. */
window.addEventListener("hashchange", () => {
  if (!FORM.test(location.hash.slice(1))) return;
  takeToken();
  location.reload();
});

/** The token that is held; null if there is none. */
export function heldToken() {
  return held;
}

function keep(token) {
  held = token;
  try {
    sessionStorage.setItem(KEPT, token);
  } catch {
    // A browser that keeps nothing asks again after a reload.
  }
}

/** Headers with the token, if there is one. */
export function authorized(headers = {}) {
  return held === null ? headers : { ...headers, Authorization: `Bearer ${held}` };
}

/** A form that asks for a token; `taken` is called once there is one of the right form. */
export function tokenForm(text, taken) {
  const id = freshId("token");
  const input = el("input", {
    id, type: "text", autocomplete: "off", spellcheck: "false", "aria-describedby": `${id}-said`,
  });
  const said = el("p", { id: `${id}-said`, class: "soft", role: "status" });
  const submit = (event) => {
    event.preventDefault();
    const token = input.value.trim().split("#").at(-1);
    if (!FORM.test(token)) {
      said.textContent = "A token begins with hc_ and is some forty letters and digits long.";
      return;
    }
    keep(token);
    taken();
  };
  return el("form", { class: "token", onsubmit: submit },
    el("p", {}, text),
    el("div", { class: "field" }, el("label", { for: id }, "Token, or the whole address"), input),
    said, el("button", { type: "submit", class: "strong" }, "Go on"));
}

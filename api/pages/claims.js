/* The desk: finding claims, and one claim with everything that can be done with it.
 *
 * Which claim is shown stands in the address (?claim=…), so it can be kept among bookmarks and gone
 * back from. Every change names the version that is on the screen; if somebody was quicker the page
 * says so and shows the claim as it is now.
 */

import { byId, el, fill, say } from "./dom.js";
import { drawClaim } from "./claim-desk.js";
import { Away, NotLetIn, Refused, get } from "./server.js";
import { STATES, day, sumsOf } from "./standing.js";
import { takeToken, tokenForm } from "./token.js";

const FILTERS = ["text", "storm", "insurer", "state", "since", "until"];

const desk = { claim: null, notice, failed, question, show, words: null };

/* ---- what cannot be done ------------------------------------------------------------------- */

function notice(text, action = "Close", run = null) {
  const box = byId("notice");
  box.hidden = false;
  fill(box, el("p", {}, text), el("button", {
    type: "button",
    onclick: () => {
      box.hidden = true;
      run?.();
    },
  }, action));
}

/** Say what went wrong, in words; true if the claim must be looked at anew. */
function failed(error) {
  if (error instanceof NotLetIn) {
    const box = byId("notice");
    box.hidden = false;
    fill(box, tokenForm(`${error.message} hailcalc serve prints the address of this page with a `
      + "token; the owner gives others with hailcalc token add.", () => {
      box.hidden = true;
      show();
    }));
    return false;
  }
  if (error instanceof Refused) {
    const places = error.problems.filter((each) => each.in === "draft" || each.in === "body")
      .map((each) => `${each.pointer}: found ${each.found}, expected ${each.expected}.`);
    notice([error.message, ...places].join(" "));
    return [409, 412].includes(error.status);
  }
  if (error instanceof Away) {
    notice(`${error.message} Nothing was changed as far as this page knows.`, "Try again", show);
    return false;
  }
  throw error;
}

/** Ask before something is done; `body` may hold fields. */
function question(title, body, yes, run) {
  const dialog = byId("question");
  say(byId("question-title"), title);
  fill(byId("question-body"), body);
  const button = byId("question-yes");
  say(button, yes);
  button.onclick = () => {
    dialog.close();
    run();
  };
  byId("question-no").onclick = () => dialog.close();
  dialog.showModal();
}

/* ---- the list ------------------------------------------------------------------------------- */

function wanted() {
  return new URLSearchParams(location.search);
}

/** Show what the address names: a claim, or the list. */
async function show() {
  const claim = wanted().get("claim");
  try {
    if (desk.words === null) desk.words = await get("/pages/words.json");
    if (claim !== null) await drawClaim(desk, claim);
    else await drawList();
  } catch (error) {
    failed(error);
  }
}

async function drawList() {
  const query = wanted();
  const asked = new URLSearchParams();
  for (const name of FILTERS) if (query.get(name)) asked.set(name, query.get(name));
  const page = await get(`/v1/claims?${asked}`);
  document.title = "Claims – hailcalc";
  say(byId("where"), "Claims");
  const list = el("ul", { class: "claims" });
  const more = el("p", { class: "tools ends" });
  const add = ({ claims, next }) => {
    list.append(...claims.map(row));
    fill(more, next === null ? null : el("button", {
      type: "button",
      onclick: async () => {
        asked.set("cursor", next);
        try {
          add(await get(`/v1/claims?${asked}`));
        } catch (error) {
          failed(error);
        }
      },
    }, "Show more"));
  };
  add(page);
  const none = asked.size > 0 ? "No claim fits." : "No claim is kept yet: count a vehicle and keep it.";
  fill(byId("view"), filters(query),
    page.claims.length === 0 ? el("p", { class: "card" }, none) : list, more);
}

function row(claim) {
  const about = [STATES[claim.state], claim.insurer, day(claim.date_of_loss), claim.storm,
    claim.revision === null ? null : `revision ${claim.revision}`,
    claim.draft !== null && claim.revision !== null ? "a supplement is being drafted" : null];
  return el("li", {},
    el("a", { href: `/claims?claim=${claim.id}` }, claim.number),
    el("span", { class: "total" }, claim.sums === null ? ""
      : `${claim.sums.total} ${claim.sums.currency}`),
    el("p", { class: "about" }, about.filter(Boolean).join(" · ")),
    claim.sums === null || claim.state === "withdrawn" ? null : sumsOf(claim.sums));
}

function filters(query) {
  const field = (name, label, type, cls = "field") => el("div", { class: cls },
    el("label", { for: `filter-${name}` }, label),
    el("input", { id: `filter-${name}`, name, type, value: query.get(name) ?? "" }));
  const states = el("select", { id: "filter-state", name: "state" },
    el("option", { value: "" }, "any"),
    Object.keys(STATES).map((state) => el("option", { value: state }, state)));
  states.value = query.get("state") ?? "";
  return el("form", { class: "filters", role: "search", "aria-label": "Find claims", onsubmit: find },
    field("text", "Number, customer, VIN, vehicle", "search", "field wide-field"),
    field("storm", "Storm", "text"), field("insurer", "Insurer", "text"),
    el("div", { class: "field" }, el("label", { for: "filter-state" }, "State"), states),
    field("since", "Loss from", "date"), field("until", "Loss until", "date"),
    el("button", { type: "submit" }, "Find"));
}

function find(event) {
  event.preventDefault();
  const asked = new URLSearchParams();
  for (const [name, value] of new FormData(event.target)) {
    if (value.trim() !== "") asked.set(name, value.trim());
  }
  history.pushState(null, "", asked.size > 0 ? `/claims?${asked}` : "/claims");
  show();
}

window.addEventListener("popstate", show);
takeToken();
show();


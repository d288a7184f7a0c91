/* The desk: finding claims, and one claim with everything that can be done with it.
 *
 * Which claim is shown stands in the address (?claim=…), so it can be kept among bookmarks and gone
 * back from. Every change names the version that is on the screen; if somebody was quicker the page
 * says so and shows the claim as it is now.
 */

import { byId, el, fill, say } from "./dom.js";
import { drawClaim } from "./claim-desk.js";
import { Away, NotLetIn, Refused, get, refusalInWords } from "./server.js";
import { STATES, day, sumsOf } from "./standing.js";
import { takeToken, tokenForm } from "./token.js";

const FILTERS = ["text", "storm", "insurer", "state", "since", "until"];
const WIDE = "(min-width: 620px)";

const desk = {
  claim: null, words: null, me: null, keys: new Map(), uploading: new Map(), busy: false,
  preferences: preferences(), notice, failed, question, show,
  /* What panels are called here, as on the page where vehicles are counted. */
  get labels() {
    return desk.words.labels[desk.preferences.labels];
  },
};

/** Paper and panel names as they were last chosen for counting. */
function preferences() {
  let kept = null;
  try {
    kept = JSON.parse(localStorage.getItem("hailcalc.preferences"));
  } catch {
    // written by something else, or nothing can be kept
  }
  return { paper: kept?.paper === "a4" ? "a4" : "letter", labels: kept?.labels === "uk" ? "uk" : "us" };
}

/* ---- what is said and asked ------------------------------------------------------------------ */

function notice(text, action = "Close", run = null) {
  showNotice(el("p", {}, text), el("button", {
    type: "button",
    onclick: () => {
      byId("notice").hidden = true;
      run?.();
    },
  }, action));
}

function showNotice(...content) {
  const box = byId("notice");
  box.hidden = false;
  fill(box, content);
  box.scrollIntoView({ block: "nearest" });
}

/** Say what went wrong, in words; true if the claim must be looked at anew. */
function failed(error) {
  if (error instanceof NotLetIn) {
    showNotice(tokenForm(`${error.message} hailcalc serve prints the address of this page with a `
      + "token; the owner gives others with hailcalc token add.", () => {
      byId("notice").hidden = true;
      desk.me = null;
      show();
    }));
    return false;
  }
  if (error instanceof Refused) {
    const old = [409, 412].includes(error.status);
    notice([old ? "Not done." : null, refusalInWords(error),
      old ? "This is the claim as it is now." : null].filter(Boolean).join(" "));
    return old;
  }
  if (error instanceof Away) {
    notice(`${error.message} Nothing was changed as far as this page knows.`, "Try again", show);
    return false;
  }
  throw error;
}

/** Ask before something is done; `body` may hold fields, which must be sound. */
function question(title, body, yes, run) {
  const dialog = byId("question");
  say(byId("question-title"), title);
  fill(byId("question-body"), body);
  const button = byId("question-yes");
  say(button, yes);
  button.onclick = () => {
    const fields = [...byId("question-body").querySelectorAll("input")];
    if (!fields.every((field) => field.reportValidity())) return;
    dialog.close();
    run();
  };
  byId("question-body").onkeydown = (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    button.click();
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
    desk.words ??= await get("/pages/words.json");
    desk.me ??= await get("/v1/token");
    byId("to-storms").hidden = !desk.me.scopes.includes("manage");
    if (desk.me.role === "adjuster") {
      showNotice(el("p", {}, "This link is an adjuster's and opens one claim."),
        el("a", { class: "button", href: "/answer" }, "To the claim"));
    } else if (claim !== null) await drawClaim(desk, claim);
    else await drawList();
  } catch (error) {
    failed(error);
  }
}

async function drawList() {
  const query = wanted();
  const asked = new URLSearchParams();
  for (const name of FILTERS) if (query.get(name)) asked.set(name, query.get(name));
  const filtered = asked.size > 0;
  document.title = "Claims – hailcalc";
  say(byId("where"), "Claims");
  let page;
  try {
    page = await get(`/v1/claims?${asked}`);
  } catch (error) {
    // What was asked for is no filter: it stays in its field, to be mended there.
    if (error instanceof Refused) fill(byId("view"), filters(query, filtered));
    throw error;
  }
  if (wanted().toString() !== query.toString()) return; // gone on to another list meanwhile
  const list = el("ul", { class: "claims" });
  const more = el("p", { class: "tools ends" });
  const add = ({ claims, next }) => {
    const rows = claims.map(row);
    list.append(...rows);
    fill(more, next === null ? null : el("button", {
      type: "button",
      onclick: async () => {
        asked.set("cursor", next);
        try {
          add(await get(`/v1/claims?${asked}`)).querySelector("a").focus();
        } catch (error) {
          failed(error);
        }
      },
    }, "Show more"));
    return rows[0];
  };
  add(page);
  fill(byId("view"), filters(query, filtered),
    page.claims.length > 0 ? list : el("p", { class: "card" }, filtered ? "No claim fits."
      : "No claim is kept yet: count a vehicle and keep it."), more);
}

function row(claim) {
  const about = [STATES[claim.state], claim.insurer, `loss ${day(claim.date_of_loss)}`, claim.storm,
    claim.revision === null ? null : `revision ${claim.revision}`,
    claim.draft !== null && claim.revision !== null ? "a supplement is being drafted" : null,
    claim.forgotten === null ? null : "persons and photographs removed"];
  return el("li", {},
    el("a", { href: `/claims?claim=${claim.id}` }, claim.number),
    el("span", { class: "total" }, claim.sums === null ? ""
      : `${claim.sums.total} ${claim.sums.currency}`),
    el("p", { class: "about" }, about.filter(Boolean).join(" · ")),
    claim.sums === null || claim.state === "withdrawn" ? null : sumsOf(claim.sums, ""));
}

function filters(query, filtered) {
  const field = (name, label, type) => el("div", { class: "field" },
    el("label", { for: `filter-${name}` }, label),
    el("input", { id: `filter-${name}`, name, type, value: query.get(name) ?? "" }));
  const states = el("select", { id: "filter-state", name: "state" },
    el("option", { value: "" }, "any"),
    Object.keys(STATES).map((state) => el("option", { value: state }, state)));
  states.value = query.get("state") ?? "";
  const others = FILTERS.slice(1).some((name) => query.get(name));
  return el("form", { role: "search", "aria-label": "Find claims", onsubmit: find },
    el("div", { class: "search" }, field("text", "Number, customer, VIN or vehicle", "search"),
      el("button", { type: "submit", class: "strong" }, "Find"),
      filtered ? el("a", { class: "button", href: "/claims" }, "All") : null),
    el("details", { class: "fold more-filters", open: others || matchMedia(WIDE).matches },
      el("summary", {}, "Storm, insurer, state, date of loss"),
      el("div", { class: "filters" },
        field("storm", "Storm", "text"), field("insurer", "Insurer", "text"),
        el("div", { class: "field" }, el("label", { for: "filter-state" }, "State"), states),
        field("since", "Loss from", "date"), field("until", "Loss until", "date"))));
}

function find(event) {
  event.preventDefault();
  const asked = new URLSearchParams();
  for (const [name, value] of new FormData(event.target)) {
    if (value.trim() !== "") asked.set(name, value.trim());
  }
  history.pushState(null, "", asked.size > 0 ? `/claims?${asked}` : "/claims");
  byId("notice").hidden = true;
  show();
}

window.addEventListener("popstate", show);
takeToken();
show();

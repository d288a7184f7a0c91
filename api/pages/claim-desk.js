/* One claim on the desk: how it stands, and what can be done next. */

import { byId, el, fill, freshId, say, several } from "./dom.js";
import { events, lines, linkList, pictures, revisions } from "./claim-parts.js";
import { Refused, get, newKey, placesInWords, send } from "./server.js";
import { STATES, day, moment, sumsOf } from "./standing.js";

/** Fetch a claim and show it. */
export async function drawClaim(desk, id) {
  const path = `/v1/claims/${encodeURIComponent(id)}`;
  const claim = await get(path);
  const issued = claim.revision !== null;
  const may = (scope) => desk.me.scopes.includes(scope);
  const [draft, answers, links, photographs, history] = await Promise.all([
    claim.draft === null || !may("write") || claim.forgotten !== null ? null : get(`${path}/draft`),
    issued ? get(`${path}/answers`).catch(forgottenIsNull) : null,
    may("issue") ? get(`${path}/links`) : { links: [] },
    get(`${path}/photographs`), get(`${path}/history`),
  ]);
  const shown = {
    claim, draft, answers, may, links: links.links, photographs: photographs.photographs,
    history: history.events,
  };
  desk.claim = claim;
  document.title = `${claim.number} – hailcalc`;
  say(byId("where"), `Claim ${claim.number}`);
  fill(byId("view"),
    summary(shown),
    el("div", { class: "two" },
      el("div", {},
        claim.forgotten === null ? actions(desk, shown) : forgotten(),
        issued ? revisions(desk, claim) : null),
      answers === null ? null : lines(desk, answers),
      el("div", { class: "beside" },
        issued && may("issue") ? linkList(desk, shown, askToRevoke) : null,
        pictures(desk, shown, askToLeaveOut),
        events(shown))));
}

/* Of a claim whose persons were removed there may be no sheet to read answers by. */
function forgottenIsNull(error) {
  if (error instanceof Refused && error.status === 410) return null;
  throw error;
}

/* ---- how it stands ---------------------------------------------------------------------------- */

function summary(shown) {
  const { claim } = shown;
  const { sums } = claim;
  const entry = (label, value, cls = "") => (value === null ? null
    : el("div", { class: cls }, el("dt", {}, label), el("dd", {}, value)));
  return el("section", { class: "card strong", "aria-labelledby": "stands-title" },
    el("h2", { id: "stands-title" }, STATES[claim.state]),
    el("p", {}, meaning(shown)),
    el("dl", { class: "head-sums" },
      sums === null ? null : entry("Net of the deductible", `${sums.net} ${sums.currency}`, "big"),
      sums === null ? null : entry("Total", `${sums.total} ${sums.currency}`),
      entry("Insurer", claim.insurer), entry("Date of loss", day(claim.date_of_loss)),
      entry("Storm", claim.storm), entry("Last changed", moment(claim.changed))),
    sums === null ? null : sumsOf(sums));
}

/** What the state means for this claim, and what is to be done about it. */
function meaning(shown) {
  const { claim, answers, links } = shown;
  const { settlement } = claim;
  switch (claim.state) {
    case "draft":
      return "Nobody outside the shop sees it yet. Issue it, then give the adjuster a link.";
    case "issued":
      return [
        answers === null ? "Not every line is answered."
          : settlement !== null ? "No line is open, and the adjuster has yet to agree to this sheet or answer it anew."
            : opened(answers),
        claim.revisions.at(-1).complete ? null : "A panel has no price yet; a supplement must give it.",
        links.some(isLive) || !shown.may("issue") ? null : "No adjuster has a link that works: give one.",
      ].filter(Boolean).join(" ");
    case "answered":
      if (settlement === null) return "Every line is answered.";
      if (settlement.shop !== null) return "The shop has agreed to the settlement; the adjuster has not yet.";
      return settlement.adjuster === null ? "Neither side has agreed to the settlement yet."
        : "The adjuster has agreed to the settlement; the shop has not yet.";
    case "agreed":
      return "What is disputed is not paid. A supplement or another answer opens it again.";
    default: {
      const { at, reason } = claim.withdrawn ?? { at: claim.changed, reason: "" };
      return `It can be read, and nothing more can be done with it. Withdrawn ${moment(at)}`
        + `${reason ? `: ${reason}` : "."}`;
    }
  }
}

function opened({ lines_open: open }) {
  return open === 1 ? "1 line is still open." : `${open} lines are still open.`;
}

function isLive(link) {
  return link.revoked === null && new Date(link.until) > new Date();
}

function forgotten() {
  return el("p", { class: "card" }, "Persons and photographs of this claim were removed. Sums, counts "
    + "and its history are kept.");
}

/* ---- changing it ------------------------------------------------------------------------------- */

/** Do something with the claim as it is on the screen, then show it as it has become.
 *
 * The same thing tried again after no answer goes with the same key: it is done once.
 */
async function change(desk, method, path, body, { told = null, then = null } = {}) {
  if (desk.busy) return;
  desk.busy = true;
  const { id, version } = desk.claim;
  const what = JSON.stringify([id, version, method, path, body]);
  const key = desk.keys.get(what) ?? newKey();
  desk.keys.set(what, key);
  try {
    const answer = await send(method, `/v1/claims/${id}${path}`, {
      body, version, key, waiting: ({ message }) => desk.notice(`${message} Trying again…`),
    });
    desk.keys.delete(what);
    byId("notice").hidden = true;
    await desk.show();
    byId("view").focus({ preventScroll: true });
    if (told !== null) desk.notice(told);
    then?.(answer);
  } catch (error) {
    if (error instanceof Refused) desk.keys.delete(what);
    if (desk.failed(error)) await desk.show();
  } finally {
    desk.busy = false;
  }
}

function actions(desk, shown) {
  const { claim, draft, may } = shown;
  if (claim.state === "withdrawn") return null;
  const issued = claim.revision !== null;
  return el("section", { "aria-labelledby": "next-title" },
    el("h2", { id: "next-title" }, "What can be done"),
    draft === null ? null : issueCard(desk, shown),
    claim.settlement === null ? null : settlementCard(desk, shown),
    el("div", { class: "tools choices" },
      may("write") ? el("a", { class: "button", href: `/?claim=${claim.id}` },
        issued && draft === null ? "Count for a supplement" : "Go on counting") : null,
      issued && may("issue") ? el("button", { type: "button", onclick: () => askForLink(desk) },
        "Give an adjuster a link") : null,
      may("issue") ? el("button", { type: "button", onclick: () => askToWithdraw(desk) },
        "Withdraw the claim") : null));
}

function issueCard(desk, { claim, draft, may }) {
  const supplement = claim.revision !== null;
  const number = (claim.revision ?? 0) + 1;
  // Typed before the claim was shown anew because somebody changed it.
  const typed = byId("supplement-reason")?.value ?? "";
  const reason = field("Why there is a supplement",
    el("input", { id: "supplement-reason", type: "text", maxlength: 2000, required: true, value: typed }));
  const paper = choice("Paper", [["letter", "Letter"], ["a4", "A4"]], desk.preferences.paper);
  const names = choice("Panel names", [["us", "US: hood"], ["uk", "UK: bonnet"]],
    desk.preferences.labels);
  const issue = () => {
    if (supplement && !reason.input.reportValidity()) return;
    const query = new URLSearchParams({ paper: paper.input.value, labels: names.input.value });
    change(desk, "POST", `/revisions?${query}`,
      { reason: supplement ? reason.input.value.trim() : "" },
      { told: `Revision ${number} is issued.`, then: clearReason });
  };
  return el("div", { class: "card strong" },
    el("h3", {}, supplement ? `Draft ${draft.number}, for a supplement` : `Draft ${draft.number}`),
    comesTo(draft),
    el("p", { class: "soft" }, `Saved ${moment(draft.saved)}. Issuing freezes it as revision ${number}: `
      + "sheet, PDF and digest stay as they are from then on."),
    may("issue") ? [
      supplement ? reason.holder : null,
      el("div", { class: "row" }, paper.holder, names.holder),
      el("button", {
        type: "button", class: "strong", disabled: draft.totals === null, onclick: issue,
      }, supplement ? "Issue the supplement" : "Issue it"),
    ] : null);
}

function clearReason() {
  const input = byId("supplement-reason");
  if (input !== null) input.value = "";
}

function comesTo({ totals, problems, currency }) {
  if (totals === null) {
    return el("div", {}, el("p", {}, el("strong", {}, `It cannot be issued: ${several(problems.length,
      "problem")}.`)), el("ul", { class: "problem-list" },
      placesInWords(problems).map((text) => el("li", {}, text))));
  }
  const { total, net, complete } = totals;
  return el("p", {}, "It comes to ", el("strong", {}, `${total} ${currency}`), `, ${net} net of the deductible. `,
    complete ? null : "Incomplete: a panel has no price yet.");
}

function settlementCard(desk, { claim, may }) {
  const { settlement, sums } = claim;
  const side = (name, word) => el("li", {}, word === null ? `${name} has not agreed yet.`
    : `${name} agreed ${moment(word.at)}${word.by ? ` (${word.by})` : ""}.`);
  const agree = () => desk.question("Agree to this settlement?",
    el("p", {}, `${settlement.agreed} ${sums.currency} agreed, ${settlement.net} net of the deductible; `
      + `${settlement.disputed} disputed and not paid.`),
    "Agree", () => change(desk, "POST", "/agreement", { settlement: settlement.digest },
      { told: "The shop has agreed to the settlement." }));
  return el("div", { class: "card strong" },
    el("h3", {}, "Settlement"),
    el("p", {}, `Agreed ${settlement.agreed} ${sums.currency}, ${settlement.net} net of the deductible; `
      + `disputed ${settlement.disputed}, which is not paid.`),
    el("ul", {}, side("The adjuster", settlement.adjuster), side("The shop", settlement.shop)),
    settlement.shop !== null || !may("issue") ? null
      : el("button", { type: "button", class: "strong", onclick: agree }, "Agree for the shop"));
}

/* ---- fields and questions ------------------------------------------------------------------------ */

function field(label, input) {
  input.id ||= freshId("field");
  return { input, holder: el("div", { class: "field" }, el("label", { for: input.id }, label), input) };
}

function choice(label, options, value) {
  return field(label, el("select", { value },
    options.map(([each, text]) => el("option", { value: each }, text))));
}

function askForLink(desk) {
  const name = field("For whom (shown beside every answer)",
    el("input", { type: "text", maxlength: 200, required: true, autocomplete: "off" }));
  const days = field("Days until it ends",
    el("input", { type: "number", min: 1, max: 365, required: true, value: "30" }));
  desk.question("Give an adjuster a link",
    [el("p", {}, "Whoever has the link can read this claim and answer its lines, without an account."),
      name.holder, days.holder],
    "Make the link", () => change(desk, "POST", "/links",
      { name: name.input.value.trim(), days: Number(days.input.value) }, { then: showLink }));
}

/** A new link, which is shown this once. */
function showLink({ address, name, until }) {
  const input = el("input", { type: "text", readonly: true, value: address, "aria-label": "The link" });
  const copy = el("button", {
    type: "button", class: "strong",
    onclick: async () => {
      input.select();
      try {
        await navigator.clipboard.writeText(address);
        say(copy, "Copied");
      } catch {
        say(copy, "Selected: copy it by hand"); // pages without TLS may not write there
      }
    },
  }, "Copy");
  const box = byId("notice");
  box.hidden = false;
  fill(box, el("div", { class: "address" },
    el("p", {}, `The link for ${name}, until ${moment(until)}. It is shown this once.`), input),
  el("div", { class: "tools" }, copy, el("button", {
    type: "button",
    onclick: () => { box.hidden = true; },
  }, "Close")));
  box.scrollIntoView({ block: "nearest" });
  input.select();
}

function askToRevoke(desk, link) {
  desk.question(`Revoke the link of ${link.name || "the adjuster"}?`,
    el("p", {}, "It opens nothing any more; what was answered stays."),
    "Revoke it", () => change(desk, "DELETE", `/links/${link.id}`, undefined,
      { told: `The link of ${link.name || "the adjuster"} is revoked.` }));
}

function askToLeaveOut(desk, { number }) {
  desk.question(`Leave photograph ${number} out?`,
    el("p", {}, "No sheet prints it from now on and no adjuster sees it. Sheets that print it stay."),
    "Leave it out", () => change(desk, "DELETE", `/photographs/${number}`, undefined,
      { told: `Photograph ${number} is left out.` }));
}

function askToWithdraw(desk) {
  const reason = field("Why", el("input", { type: "text", maxlength: 2000, required: true }));
  desk.question("Withdraw this claim for good?",
    [el("p", {}, "It can still be read, and nothing more can be done with it."), reason.holder],
    "Withdraw it", () => change(desk, "POST", "/withdrawal", { reason: reason.input.value.trim() }));
}

/* What stands above the lines: whose claim it is, what it comes to, its files, the settlement. */

import { byId, el, fill, redraw, say } from "./dom.js";
import { getFile } from "./server.js";
import { day, moment } from "./standing.js";

/* Files that were opened: they never change, so their addresses are made once. */
const opened = new Map();

/** Fill the head of the page; `failed` is told of a token that ended meanwhile. */
export function drawSummary({ claim, sheet, answers }, failed) {
  const file = sheet.claim_file;
  const latest = claim.revisions.at(-1);
  const { title, revision } = sheet.matrix.matrix;
  const matrix = `${title}, revision ${revision ?? 1}`;
  document.title = `${claim.number} – claim sheet`;
  say(byId("title"), `Claim ${claim.number}`);
  say(byId("where"), stateWords(claim, answers));
  fill(byId("summary"), el("section", { class: "card strong", "aria-label": "What the claim comes to" },
    claim.withdrawn === null ? null : el("p", { class: "next" },
      `The shop withdrew this claim ${moment(claim.withdrawn.at)}: ${claim.withdrawn.reason}`),
    latest.number === 1 ? null : el("p", {}, el("strong", {},
      `Revision ${latest.number} is a supplement: it replaces revision ${latest.number - 1}.`),
    " The shop’s reason: ", el("span", {}, latest.reason)),
    latest.complete ? null : el("p", { class: "next" },
      "The sheet is incomplete: a line has no price yet. It cannot be settled before the shop "
      + "issues a supplement with that price."),
    el("dl", { class: "head-sums" },
      entry("Net of the deductible", `${latest.net} ${latest.currency}`, "big"),
      entry("Total", `${latest.total} ${latest.currency}`),
      entry("Deductible", `${answers.deductible} ${latest.currency}`)),
    el("dl", { class: "whose" },
      entry("Customer", file.claim.customer), entry("Vehicle", vehicleWords(file.vehicle)),
      entry("VIN", file.vehicle.vin), entry("Date of loss", day(claim.date_of_loss)),
      entry("Insurer", claim.insurer), entry("Shop", shopWords(file.shop)),
      entry("Sheet", `Revision ${latest.number}, issued ${moment(latest.issued)}`),
      entry("Matrix", matrix)),
    files(claim.id, latest, failed),
    el("p", { class: "soft" }, `An estimate under the matrix “${matrix}”. It is not an offer and not a `
      + "decision on coverage.")));
}

function entry(label, value, cls = "") {
  return value ? el("div", { class: cls }, el("dt", {}, label), el("dd", {}, value)) : null;
}

function vehicleWords({ description, body }) {
  return description ? `${description} (${body})` : body;
}

function shopWords(shop) {
  return [shop?.name, shop?.contact].filter(Boolean).join(", ");
}

/** How the claim stands, said to the adjuster. */
function stateWords({ state }, { settlement, complete }) {
  if (state === "withdrawn") return "Withdrawn by the shop. There is nothing to answer any more.";
  if (state === "agreed") return "Agreed: both sides have agreed to the settlement.";
  if (settlement === null) {
    return complete ? "Waiting for your answer to the lines that are open."
      : "Not settled yet: lines are open, or wait for a price from the shop.";
  }
  if (state === "issued") return "No line is open: what you answered before holds. Look at what changed, then agree or answer anew.";
  if (settlement.adjuster !== null) return "Every line is answered. Waiting for the shop to agree.";
  if (settlement.shop !== null) return "Every line is answered, and the shop has agreed. Waiting for you to agree.";
  return "Every line is answered. Waiting for both sides to agree.";
}

/* ---- files ------------------------------------------------------------------------------------- */

function files(claim, latest, failed) {
  const said = el("p", { class: "soft", role: "status" });
  const sheet = `/v1/claims/${claim}/revisions/${latest.number}`;
  const opener = (path, accept, label, name = null) => el("button", {
    type: "button", onclick: () => open({ path, accept, name }, said, failed),
  }, label);
  return el("div", { class: "files" }, el("div", { class: "tools" },
    opener(sheet, "application/pdf", "Open the sheet (PDF)"),
    opener(sheet, "application/json", "The sheet as JSON", `claim-r${latest.number}.json`),
    latest.number === 1 ? null
      : opener(`/v1/claims/${claim}/changes?to=${latest.number}`, "application/pdf", "What changed (PDF)")),
  said);
}

/* The window is opened with the click: a browser holds back one that comes later. */
async function open({ path, accept, name: own }, said, failed) {
  const known = `${accept} ${path}`;
  const tab = opened.has(known) ? null : window.open("", "_blank");
  say(said, "The file is being fetched…");
  try {
    if (!opened.has(known)) {
      const { blob, name } = await getFile(path, accept);
      opened.set(known, { url: URL.createObjectURL(blob), name: own ?? name });
    }
    const { url, name } = opened.get(known);
    if (tab === null) window.open(url, "_blank");
    else tab.location.replace(url);
    fill(said, "The file is ready, should no window have opened: ", el("a", { href: url, download: name }, name));
  } catch (error) {
    tab?.close();
    say(said, `${error.message} The file is not to be had now.`);
    failed(error);
  }
}

/* ---- settlement -------------------------------------------------------------------------------- */

/** What there is to agree to, once no line is open; `agree` is called by its button. */
export function drawSettlement({ claim, answers }, agree) {
  const { settlement, currency } = answers;
  if (settlement === null || claim.state === "withdrawn") {
    redraw(byId("settlement"), null, () => null);
    return;
  }
  redraw(byId("settlement"), [claim.state, settlement, currency], () => el("section",
    { class: "card strong", "aria-labelledby": "settlement-title" },
    el("h2", { id: "settlement-title", tabindex: "-1" }, "Settlement"),
    el("dl", { class: "head-sums" },
      entry("Agreed, net of the deductible", `${settlement.net} ${currency}`, "big"),
      entry("Agreed", `${settlement.agreed} ${currency}`),
      entry("Disputed, not paid", `${settlement.disputed} ${currency}`)),
    el("p", {}, `${wordOf("You", settlement.adjuster)} ${wordOf("The shop", settlement.shop)}`),
    el("p", { class: "soft" }, settledWords(claim, settlement)),
    settlement.adjuster !== null ? null : el("div", {},
      el("button", { type: "button", class: "strong", id: "agree", onclick: agree }, "Agree to this settlement"),
      el("p", { id: "agree-said", class: "soft", role: "status" }))));
}

function wordOf(side, word) {
  if (word !== null) return `${side} agreed ${moment(word.at)}${word.by ? ` (${word.by})` : ""}.`;
  return side === "You" ? "You have not agreed yet." : `${side} has not agreed yet.`;
}

function settledWords({ state }, settlement) {
  if (state === "agreed") return "What is disputed is not paid. Another answer that changes a sum opens the claim again.";
  if (settlement.adjuster !== null) return "The claim is agreed as soon as the shop agrees to the same sums.";
  return "The claim is agreed once you and the shop have both agreed to these same sums. What is disputed "
    + "then is not paid. Until then any answer can be changed; that makes another settlement.";
}

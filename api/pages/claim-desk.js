/* One claim on the desk: how it stands, what can be done next, and everything that belongs to it. */

import { byId, el, fill, freshId, say, several } from "./dom.js";
import { NotLetIn, get, getFile, send } from "./server.js";
import { STATES, answerWords, because, day, grouped, moment, sumsOf } from "./standing.js";

/** Fetch a claim and show it. */
export async function drawClaim(desk, id) {
  const path = `/v1/claims/${encodeURIComponent(id)}`;
  const claim = await get(path);
  const issued = claim.revision !== null;
  const [draft, answers, links, pictures, history] = await Promise.all([
    claim.draft === null ? null : get(`${path}/draft`),
    issued ? get(`${path}/answers`) : null,
    get(`${path}/links`), get(`${path}/photographs`), get(`${path}/history`),
  ]);
  desk.claim = claim;
  document.title = `${claim.number} – hailcalc`;
  say(byId("where"), `Claim ${claim.number}`);
  fill(byId("view"),
    summary(claim),
    el("div", { class: "two" },
      el("div", {},
        claim.forgotten === null ? next(desk, claim, draft) : forgotten(),
        issued ? revisions(desk, claim) : null,
        answers === null ? null : lines(desk, answers)),
      el("div", {},
        issued ? linkList(desk, claim, links.links) : null,
        photographs(desk, claim, pictures.photographs),
        events(history.events))));
}

function summary(claim) {
  const sums = claim.sums;
  const entry = (label, value, cls = "") => (value === null ? null
    : el("div", { class: cls }, el("dt", {}, label), el("dd", {}, value)));
  return el("section", { class: "card strong", "aria-label": "How the claim stands" },
    el("p", { class: "next" }, STATES[claim.state]),
    el("dl", { class: "head-sums" },
      sums === null ? null : entry("Net of the deductible", `${sums.net} ${sums.currency}`, "big"),
      sums === null ? null : entry("Total", `${sums.total} ${sums.currency}`),
      entry("Insurer", claim.insurer), entry("Date of loss", day(claim.date_of_loss)),
      entry("Storm", claim.storm), entry("Changed", moment(claim.changed))),
    sums === null ? null : sumsOf(sums),
    claim.withdrawn === null ? null
      : el("p", {}, `Withdrawn ${moment(claim.withdrawn.at)}: ${claim.withdrawn.reason}`));
}

function forgotten() {
  return el("p", { class: "card" }, "Persons and photographs of this claim were removed. Sums, counts "
    + "and its history are kept.");
}

/** Do something with the claim as it is on the screen, then show it as it has become. */
async function change(desk, method, path, body, done = null) {
  try {
    const answer = await send(method, `/v1/claims/${desk.claim.id}${path}`, {
      body, version: desk.claim.version, waiting: (error) => desk.notice(`${error.message} Trying again…`),
    });
    byId("notice").hidden = true;
    await desk.show();
    done?.(answer);
  } catch (error) {
    if (desk.failed(error)) await desk.show();
  }
}

/* ---- what can be done ------------------------------------------------------------------------ */

function next(desk, claim, draft) {
  if (claim.state === "withdrawn") return null;
  return el("section", { "aria-labelledby": "next-title" },
    el("h2", { id: "next-title" }, "What can be done"),
    draft === null ? null : issueCard(desk, claim, draft),
    claim.settlement === null ? null : settlementCard(desk, claim),
    el("div", { class: "tools card" },
      el("a", { class: "button", href: `/?claim=${claim.id}` },
        claim.revision === null ? "Go on counting" : "Count for a supplement"),
      claim.revision === null ? null
        : el("button", { type: "button", onclick: () => askForLink(desk) }, "Give an adjuster a link"),
      el("button", { type: "button", onclick: () => askToWithdraw(desk) }, "Withdraw the claim")));
}

function issueCard(desk, claim, draft) {
  const supplement = claim.revision !== null;
  const reason = field("Why there is a supplement", el("input", { type: "text", maxlength: 2000 }));
  const paper = field("Paper", el("select", {}, el("option", { value: "letter" }, "Letter"),
    el("option", { value: "a4" }, "A4")));
  const priced = draft.totals === null
    ? el("ul", { class: "problem-list" }, draft.problems.map((each) => el("li", {},
      `${each.pointer || each.in}: found ${each.found}, expected ${each.expected}`)))
    : el("p", {}, `It comes to ${draft.totals.total}${draft.totals.complete ? "" : " so far: a panel has "
      + "no price yet"}.`);
  const issue = () => change(desk, "POST", `/revisions?${new URLSearchParams({ paper: paper.input.value })}`,
    { reason: supplement ? reason.input.value.trim() : "" });
  return el("div", { class: "card strong" },
    el("h3", {}, supplement ? `Draft ${draft.number}, for a supplement` : `Draft ${draft.number}`),
    el("p", { class: "soft" }, `Saved ${moment(draft.saved)}. Issuing freezes it as revision `
      + `${(claim.revision ?? 0) + 1}, with its sheet and digest.`),
    priced,
    supplement ? reason.holder : null,
    el("div", { class: "row" }, paper.holder, el("button", {
      type: "button", class: "strong", disabled: draft.totals === null, onclick: issue,
    }, supplement ? "Issue the supplement" : "Issue it")));
}

function settlementCard(desk, claim) {
  const { settlement, sums } = claim;
  const side = (name, word) => el("li", {}, word === null ? `${name} has not agreed yet.`
    : `${name} agreed ${moment(word.at)}${word.by ? ` (${word.by})` : ""}.`);
  return el("div", { class: "card strong" },
    el("h3", {}, "Settlement"),
    el("p", {}, `Every line is answered. Agreed ${settlement.agreed} ${sums.currency}, `
      + `${settlement.net} net of the deductible; disputed ${settlement.disputed}, which is not paid.`),
    el("ul", {}, side("The adjuster", settlement.adjuster), side("The shop", settlement.shop)),
    settlement.shop !== null ? null : el("button", {
      type: "button", class: "strong",
      onclick: () => change(desk, "POST", "/agreement", { settlement: settlement.digest }),
    }, "Agree for the shop"));
}

function field(label, input) {
  const id = freshId("field");
  input.id = id;
  return { input, holder: el("div", { class: "field" }, el("label", { for: id }, label), input) };
}

function askForLink(desk) {
  const name = field("For whom (shown beside every answer)", el("input", { type: "text", maxlength: 200 }));
  const days = field("Days until it ends", el("input", { type: "number", min: 1, max: 365, value: "30" }));
  desk.question("Give an adjuster a link",
    [el("p", {}, "Whoever has the link can read this claim and answer its lines, without an account."),
      name.holder, days.holder],
    "Make the link", () => change(desk, "POST", "/links",
      { name: name.input.value.trim(), days: Number(days.input.value) }, showLink));
}

/** A new link, which is shown this once. */
function showLink({ address, name, until }) {
  const input = el("input", { type: "text", readonly: true, value: address, "aria-label": "The link" });
  const copy = el("button", {
    type: "button",
    onclick: async () => {
      input.select();
      try {
        await navigator.clipboard.writeText(address);
        say(copy, "Copied");
      } catch {
        say(copy, "Copy it with the keyboard");
      }
    },
  }, "Copy");
  const box = byId("notice");
  box.hidden = false;
  fill(box, el("div", { class: "address" },
    el("p", {}, `The link for ${name}, until ${moment(until)}. It is shown this once.`), input), copy);
  input.select();
}

function askToWithdraw(desk) {
  const reason = field("Why", el("input", { type: "text", maxlength: 2000 }));
  desk.question("Withdraw this claim for good?",
    [el("p", {}, "It can still be read, and nothing more can be done with it."), reason.holder],
    "Withdraw it", () => change(desk, "POST", "/withdrawal", { reason: reason.input.value.trim() }));
}

/* ---- what belongs to it ---------------------------------------------------------------------- */

function revisions(desk, claim) {
  return el("section", { "aria-labelledby": "revisions-title" },
    el("h2", { id: "revisions-title" }, "Sheets"),
    el("ul", { class: "revisions" }, [...claim.revisions].reverse().map((each) => el("li", {},
      el("div", {}, el("strong", {}, `Revision ${each.number}`), ` · ${each.total} ${each.currency}`,
        each.complete ? "" : " · incomplete", ` · ${several(each.dents, "dent")}`,
        el("p", { class: "soft" }, `${moment(each.issued)}${each.signed_by ? ", signed" : ""}`),
        each.reason ? el("p", {}, each.reason) : null),
      el("div", { class: "tools" },
        opener(desk, `/revisions/${each.number}`, "application/pdf", "PDF"),
        opener(desk, `/revisions/${each.number}`, "application/json", "JSON"),
        each.number === 1 ? null
          : opener(desk, `/changes?to=${each.number}`, "application/pdf", "What changed"))))));
}

/** A button that opens a file of the claim in a window of its own. */
function opener(desk, path, accept, label) {
  return el("button", { type: "button", onclick: () => openFile(desk, path, accept) }, label);
}

async function openFile(desk, path, accept) {
  try {
    const { blob } = await getFile(`/v1/claims/${desk.claim.id}${path}`, accept);
    window.open(URL.createObjectURL(blob), "_blank");
  } catch (error) {
    desk.failed(error);
  }
}

function lines(desk, answers) {
  const labels = desk.words.labels.us;
  return el("section", { "aria-labelledby": "answers-title" },
    el("h2", { id: "answers-title" }, `Lines of revision ${answers.revision}`),
    el("p", { class: "soft" }, `${several(answers.lines_answered, "line")} answered, `
      + `${answers.lines_open} open.`),
    el("div", { class: "answers" }, grouped(answers.lines).map(({ panel, lines: own }) => [
      el("p", { class: "group" }, panel === null ? "Whole vehicle" : labels[panel]),
      own.map(line),
    ])));
}

function line(each) {
  const { line: printed, number } = each;
  return el("div", { class: "answer-line" },
    el("span", { class: "no" }, String(number)), el("strong", {}, printed.label),
    el("span", { class: "amount" }, printed.amount ?? "no price"),
    because(printed), el("p", { class: "said" }, answerWords(each)));
}

function linkList(desk, claim, links) {
  const words = (link) => {
    if (link.revoked !== null) return `revoked ${moment(link.revoked)}`;
    return new Date(link.until) < new Date() ? `ended ${moment(link.until)}` : `until ${moment(link.until)}`;
  };
  return el("section", { "aria-labelledby": "links-title" },
    el("h2", { id: "links-title" }, "Links"),
    links.length === 0 ? el("p", { class: "soft" }, "No adjuster has a link yet.")
      : el("ul", { class: "links" }, links.map((link) => el("li", {},
        el("div", {}, el("strong", {}, link.name || "forgotten"), el("p", { class: "soft" }, words(link))),
        link.revoked !== null ? null : el("button", {
          type: "button",
          onclick: () => desk.question(`Revoke the link of ${link.name}?`,
            el("p", {}, "It opens nothing any more; what was answered stays."),
            "Revoke it", () => change(desk, "DELETE", `/links/${link.id}`)),
        }, "Revoke")))));
}

function photographs(desk, claim, pictures) {
  const labels = desk.words.labels.us;
  return el("section", { "aria-labelledby": "pictures-title" },
    el("h2", { id: "pictures-title" }, "Photographs"),
    pictures.length === 0 ? el("p", { class: "soft" }, "None yet; they are added where the vehicle is counted.")
      : el("div", { class: "pictures" }, pictures.map((each) => picture(desk, claim, each, labels))));
}

/** A photograph, fetched with the token; pressed, it opens whole. */
export function picture(desk, claim, each, labels) {
  const name = each.panel === null ? "Whole vehicle" : labels[each.panel];
  const image = el("img", { alt: `${name}. ${each.note}`, loading: "lazy" });
  getFile(`/v1/claims/${claim.id}/photographs/${each.number}`, "*/*")
    .then(({ blob }) => { image.src = URL.createObjectURL(blob); })
    .catch((error) => {
      if (error instanceof NotLetIn) desk.failed(error);
      image.alt = `${name}: not to be had now.`;
    });
  const taken = each.taken === null ? "" : `, taken ${each.taken.replace("T", " ")}`;
  return el("figure", {},
    el("button", { type: "button", onclick: () => window.open(image.src, "_blank") }, image),
    el("figcaption", {}, `${name}${taken}${each.note ? `. ${each.note}` : ""}`));
}

function events(history) {
  return el("details", { class: "fold" },
    el("summary", {}, el("h2", {}, "History"), " ", el("span", { class: "soft" }, several(history.length, "entry").replace("entrys", "entries"))),
    el("ol", { class: "events" }, history.map((each) => el("li", {},
      el("span", { class: "soft" }, moment(each.at)), ` ${each.act}`,
      el("span", { class: "soft" }, `by ${each.who}`)))));
}

/* The adjuster's page: one claim, its sheet, and an answer to each line.
 *
 * Which claim it is follows from the token: it opens only that one. What is chosen and typed is kept
 * in the browser by claim and revision until it is sent, so a lost connection loses nothing; it is
 * sent with a key, so that sending it twice is sending it once. If a supplement came meanwhile, what
 * was typed for lines that are still the same is kept.
 */

import { picture } from "./claim-desk.js";
import { byId, el, fill, freshId, say, several } from "./dom.js";
import { Away, NotLetIn, Refused, get, getFile, newKey, send } from "./server.js";
import { answerWords, because, day, grouped, moment, sumsOf } from "./standing.js";
import { takeToken, tokenForm } from "./token.js";

const CHOICES = [["accept", "Accept"], ["amount", "Other amount"], ["decline", "Decline"]];

const page = {
  claim: null, sheet: null, answers: null, words: null,
  /* What is chosen and not sent yet, by line number: {answer, amount, reason}. */
  typed: new Map(),
  /* What the server found wrong, by line number. */
  problems: new Map(),
  key: newKey(),
  sending: false,
};

/* ---- what is kept ------------------------------------------------------------------------------ */

function place() {
  return `hailcalc.answer.${page.claim.id}`;
}

/** What makes a line the same line on another revision. */
function identity(line) {
  return JSON.stringify([line.kind, line.panel, line.label, line.amount, line.because.formula ?? ""]);
}

function keepTyped() {
  const kept = [...page.typed].map(([number, typed]) => [identity(lineOf(number).line), typed]);
  try {
    localStorage.setItem(place(), JSON.stringify(kept));
  } catch {
    // then it is there until the page is closed
  }
}

/** What was typed before, for lines that are still there and wait for an answer. */
function takeTyped() {
  page.typed.clear();
  let kept = [];
  try {
    kept = JSON.parse(localStorage.getItem(place())) ?? [];
  } catch {
    return;
  }
  const left = [...kept];
  for (const each of page.answers.lines) {
    const at = left.findIndex(([which]) => which === identity(each.line));
    if (at >= 0) page.typed.set(each.number, left.splice(at, 1)[0][1]);
  }
}

function lineOf(number) {
  return page.answers.lines[number - 1];
}

/* ---- fetching ---------------------------------------------------------------------------------- */

/** The claim that this token opens. */
async function fetchAll() {
  const { claim: id } = await get("/v1/token");
  const path = `/v1/claims/${id}`;
  page.claim = await get(path);
  const [sheet, answers, pictures, words] = await Promise.all([
    get(`${path}/revisions/${page.claim.revision}`), get(`${path}/answers`),
    get(`${path}/photographs`), get("/pages/words.json"),
  ]);
  Object.assign(page, { sheet, answers, words });
  page.problems.clear();
  takeTyped();
  drawAll(pictures.photographs);
}

async function start() {
  try {
    await fetchAll();
    byId("notice").hidden = true;
  } catch (error) {
    failed(error);
  }
}

function failed(error) {
  const box = byId("notice");
  box.hidden = false;
  if (error instanceof NotLetIn) {
    fill(box, tokenForm(`${error.message} Open the whole link that the shop sent, or ask for another.`,
      start));
  } else if (error instanceof Away) {
    fill(box, el("p", {}, `${error.message} What you typed is kept on this device.`),
      el("button", { type: "button", onclick: start }, "Try again"));
  } else if (error instanceof Refused) {
    fill(box, el("p", {}, error.message), el("button", { type: "button", onclick: start }, "Look again"));
  } else throw error;
}

/* ---- what stands above the lines ----------------------------------------------------------------- */

function drawAll(pictures) {
  const { claim, sheet } = page;
  const file = sheet.claim_file;
  document.title = `${claim.number} – claim sheet`;
  say(byId("title"), `Claim ${claim.number}`);
  say(byId("where"), [file.shop?.name, file.vehicle.description ?? file.vehicle.body,
    `date of loss ${day(claim.date_of_loss)}`].filter(Boolean).join(" · "));
  byId("pictures-section").hidden = pictures.length === 0;
  fill(byId("pictures"), pictures.map((each) => picture({ failed }, claim, each, page.words.labels.us)));
  drawSummary();
  drawLines();
}

function drawSummary() {
  const { claim, answers, sheet } = page;
  const latest = claim.revisions.at(-1);
  const entry = (label, value, cls = "") => el("div", { class: cls }, el("dt", {}, label), el("dd", {}, value));
  fill(byId("summary"), el("section", { class: "card strong", "aria-label": "Sums" },
    claim.withdrawn === null ? null
      : el("p", { class: "next" }, `The shop withdrew this claim: ${claim.withdrawn.reason}`),
    claim.state === "agreed" ? el("p", { class: "next" }, "Both sides have agreed.") : null,
    latest.number > 1 ? el("p", { class: "next" },
      `Revision ${latest.number}, a supplement in place of the sheets before it: ${latest.reason}`) : null,
    latest.complete ? null : el("p", { class: "next" },
      "Incomplete: a panel has no price yet. A supplement will give it."),
    el("dl", { class: "head-sums" },
      entry("Net of the deductible", `${latest.net} ${latest.currency}`, "big"),
      entry("Total", `${latest.total} ${latest.currency}`),
      entry("Deductible", `${answers.deductible} ${latest.currency}`),
      entry("Matrix", `${sheet.matrix.matrix.title}, revision ${sheet.matrix.matrix.revision ?? 1}`)),
    sumsOf(answers),
    el("div", { class: "tools" },
      opener(`/revisions/${latest.number}`, "application/pdf", "Open the sheet (PDF)"),
      opener(`/revisions/${latest.number}`, "application/json", "The sheet as JSON"),
      latest.number > 1 ? opener("/changes", "application/pdf", "What changed (PDF)") : null)));
  drawSettlement();
}

function opener(path, accept, label) {
  return el("button", {
    type: "button",
    onclick: async () => {
      try {
        const { blob } = await getFile(`/v1/claims/${page.claim.id}${path}`, accept);
        window.open(URL.createObjectURL(blob), "_blank");
      } catch (error) {
        failed(error);
      }
    },
  }, label);
}

function drawSettlement() {
  const { settlement } = page.answers;
  const { currency } = page.answers;
  if (settlement === null || page.claim.state === "withdrawn") {
    fill(byId("settlement"));
    return;
  }
  const side = (name, word) => `${name} ${word === null ? "has not agreed yet" : `agreed ${moment(word.at)}`}.`;
  fill(byId("settlement"), el("section", { class: "card strong", "aria-label": "Settlement" },
    el("h2", {}, "Settlement"),
    el("p", {}, `Every line is answered. Agreed: ${settlement.agreed} ${currency}, that is `
      + `${settlement.net} net of the deductible. Disputed: ${settlement.disputed}, which is not paid. `
      + "The claim is agreed when the shop agrees to the same."),
    el("p", {}, [side("You", settlement.adjuster).replace("You has", "You have"),
      side("The shop", settlement.shop)].join(" ")),
    settlement.adjuster !== null ? null : el("button", {
      type: "button", class: "strong", id: "agree",
      onclick: () => ask("Agree to this settlement?", `${settlement.agreed} ${currency} agreed, `
        + `${settlement.disputed} disputed and not paid.`, "Agree", agree),
    }, "Agree to this settlement")));
}

/* ---- the lines ------------------------------------------------------------------------------------- */

function drawLines() {
  const { answers, words } = page;
  say(byId("lines-about"), `${several(answers.lines_answered, "line")} answered, ${answers.lines_open} open. `
    + "Each amount is the value of its formula, rounded once. Tax follows the lines that it is on.");
  fill(byId("lines"), grouped(answers.lines).map(({ panel, lines }) => {
    const open = lines.filter(isOpen);
    const name = panel === null ? "Whole vehicle" : words.labels.us[panel];
    return [
      el("div", { class: "group" }, name, open.length > 1 && mayAnswer() ? el("button", {
        type: "button", "aria-label": `Accept all open lines of: ${name}`,
        onclick: () => acceptAll(open),
      }, "Accept all") : null),
      lines.map(lineRow),
    ];
  }));
  drawBar();
}

function mayAnswer() {
  return page.claim.state !== "withdrawn" && page.claim.forgotten === null;
}

function isOpen(line) {
  return line.answer === null && !line.follows && line.line.amount !== null;
}

function lineRow(line) {
  const row = el("div", { class: "answer-line", id: `line-${line.number}` },
    el("span", { class: "no" }, String(line.number)), el("strong", {}, line.line.label),
    el("span", { class: "amount" }, line.line.amount ?? "no price"), because(line.line));
  const typed = page.typed.get(line.number);
  if (typed === undefined && !isOpen(line)) {
    row.append(el("p", { class: "said" }, answerWords(line)));
    if (line.line.amount !== null && mayAnswer()) row.append(again(line));
  } else if (mayAnswer()) row.append(chooser(line, typed));
  return row;
}

/* An answered line, or a tax line, is answered only if somebody wants to. */
function again(line) {
  return el("div", { class: "choose" }, el("button", {
    type: "button", class: "link",
    onclick: () => {
      page.typed.set(line.number, {
        answer: line.answer?.answer ?? "accept",
        amount: line.answer?.amount ?? "",
        reason: line.answer?.reason ?? "",
      });
      typedChanged(line.number, true);
    },
  }, line.follows ? "Answer it by itself" : "Change the answer"));
}

function chooser(line, typed) {
  const name = freshId("choice");
  return el("div", { class: "choose" },
    el("fieldset", {},
      el("legend", { class: "unseen" }, `Answer to line ${line.number}, ${line.line.label}`),
      el("div", { class: "segments" }, CHOICES.map(([value, label]) => el("label", {},
        el("input", {
          type: "radio", name, value, checked: typed?.answer === value,
          onchange: () => {
            page.typed.set(line.number, { amount: "", reason: "", ...typed, answer: value });
            typedChanged(line.number, value !== "accept");
          },
        }), el("span", {}, label))))),
    typed === undefined || typed.answer === "accept" ? null : offer(line, typed),
    el("p", { class: "problem", hidden: !page.problems.has(line.number) },
      page.problems.get(line.number) ?? ""),
    typed === undefined ? null : el("button", {
      type: "button", class: "link",
      onclick: () => {
        page.typed.delete(line.number);
        typedChanged(line.number);
      },
    }, "Leave it as it was"));
}

function offer(line, typed) {
  const amount = freshId("amount");
  const reason = freshId("reason");
  const edit = (key) => ({ target }) => {
    typed[key] = target.value;
    page.problems.delete(line.number);
    changed();
  };
  return el("div", { class: typed.answer === "amount" ? "offer" : "offer reason-only" },
    typed.answer !== "amount" ? null : el("div", { class: "field money" },
      el("label", { for: amount }, `Amount, ${page.answers.currency}`),
      el("input", { id: amount, inputmode: "decimal", value: typed.amount, oninput: edit("amount"),
        "data-first": true })),
    el("div", { class: "field" }, el("label", { for: reason }, "Reason"),
      el("input", { id: reason, maxlength: 2000, value: typed.reason, oninput: edit("reason") })));
}

/** What is to be sent is other than before: another key, and kept in the browser. */
function changed() {
  page.key = newKey();
  keepTyped();
  drawBar();
}

function typedChanged(number, focus = false) {
  page.problems.delete(number);
  changed();
  const row = lineRow(lineOf(number));
  byId(`line-${number}`).replaceWith(row);
  const first = focus ? row.querySelector(".offer input") : row.querySelector("input:checked, input, button");
  first?.focus({ preventScroll: true });
}

function acceptAll(lines) {
  for (const { number } of lines) {
    if (!page.typed.has(number)) page.typed.set(number, { answer: "accept", amount: "", reason: "" });
  }
  changed();
  drawLines();
}

/* ---- sending ----------------------------------------------------------------------------------------- */

function drawBar() {
  const open = page.answers.lines.filter(isOpen);
  const untouched = open.filter(({ number }) => !page.typed.has(number));
  byId("send-bar").hidden = !mayAnswer() || (open.length === 0 && page.typed.size === 0);
  byId("accept-open").hidden = untouched.length === 0;
  byId("send").disabled = page.typed.size === 0 || page.sending;
  if (page.sending) return;
  say(byId("said"), page.typed.size === 0 ? `${several(open.length, "line")} to answer.`
    : `${several(page.typed.size, "answer")} not sent yet`
      + `${untouched.length > 0 ? `, ${several(untouched.length, "line")} still without one` : ""}.`);
}

function answerFile() {
  const answers = [...page.typed].map(([line, { answer, amount, reason }]) => {
    if (answer === "accept") return { line, answer };
    const given = { line, answer, reason: reason.trim() };
    return answer === "amount" ? { ...given, amount: amount.trim().replace(",", ".") } : given;
  });
  return { revision: page.answers.revision, answers };
}

/** What can be seen to be missing before anything is sent; the server decides about the rest. */
function missing() {
  for (const [number, { answer, amount, reason }] of page.typed) {
    if (answer === "amount" && amount.trim() === "") page.problems.set(number, "the amount is missing.");
    else if (answer !== "accept" && reason.trim() === "") {
      page.problems.set(number, "the reason is missing.");
    }
  }
  return page.problems.size > 0;
}

function showProblems() {
  drawLines();
  const [first] = [...page.problems.keys()].sort((one, other) => one - other);
  byId(`line-${first}`)?.scrollIntoView({ block: "center" });
  say(byId("said"), `Not sent: ${several(page.problems.size, "answer")} with a problem.`);
}

async function sendAnswers() {
  page.problems.clear();
  if (missing()) {
    showProblems();
    return;
  }
  const file = answerFile();
  page.sending = true;
  drawBar();
  say(byId("said"), "Being sent…");
  try {
    await send("POST", `/v1/claims/${page.claim.id}/answers`, {
      body: file, version: page.claim.version, key: page.key,
      waiting: (error) => say(byId("said"), `${error.message} It is sent as soon as it is back; nothing is lost.`),
    });
    page.typed.clear();
    changed();
    page.sending = false;
    await fetchAll();
    say(byId("said"), `${several(file.answers.length, "answer")} sent.`);
  } catch (error) {
    page.sending = false;
    await notSent(error, file);
  }
}

async function notSent(error, file) {
  drawBar();
  if (error instanceof Refused && error.kind === "invalid-answer") {
    for (const each of error.problems) {
      const at = Number(each.pointer.split("/")[2]);
      const line = file.answers[at]?.line;
      if (line !== undefined) page.problems.set(line, `found ${each.found}, expected ${each.expected}.`);
    }
    showProblems();
  } else if (error instanceof Refused && [409, 412].includes(error.status)) {
    await start();
    const box = byId("notice");
    box.hidden = false;
    fill(box, el("p", {}, `Not sent, because the claim has changed meanwhile: ${error.message} This is the `
      + "claim as it is now. What you typed is kept for lines that are still the same; look at them and send again."));
  } else if (error instanceof Away) {
    say(byId("said"), `${error.message} Not sent yet: what you typed is kept on this device.`);
  } else failed(error);
}

async function agree() {
  try {
    await send("POST", `/v1/claims/${page.claim.id}/agreement`, {
      body: { settlement: page.answers.settlement.digest }, version: page.claim.version,
    });
    await fetchAll();
  } catch (error) {
    failed(error);
  }
}

function ask(title, text, yes, run) {
  const dialog = byId("question");
  say(byId("question-title"), title);
  say(byId("question-text"), text);
  const button = byId("question-yes");
  say(button, yes);
  button.onclick = () => {
    dialog.close();
    run();
  };
  byId("question-no").onclick = () => dialog.close();
  dialog.showModal();
}

byId("send").addEventListener("click", sendAnswers);
byId("accept-open").addEventListener("click", () => acceptAll(page.answers.lines.filter(isOpen)));
takeToken();
start();

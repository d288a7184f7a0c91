/* The lines of the sheet, by panel, each with what was answered or a choice of answers.
 *
 * `page` is what answer.js holds: `typed` is what is chosen and not sent yet, `problems` what is
 * wrong with it, both by line number. `changed` is called whenever either has become another.
 */

import { byId, el, fill, freshId, say, several } from "./dom.js";
import { answerWords, because, grouped, moment } from "./standing.js";

const CHOICES = [["accept", "Accept"], ["amount", "Other amount"], ["decline", "Decline"]];

/** Whether anything of the claim can be answered at all. */
export function mayAnswer({ claim }) {
  return claim.state !== "withdrawn" && claim.forgotten === null;
}

/** Whether a line waits for an answer; one without a price waits for a supplement instead. */
export function isOpen(line) {
  return line.answer === null && !line.follows && line.line.amount !== null;
}

/** Open lines that nothing is chosen for yet. */
export function untouched(page, lines = page.answers.lines) {
  return lines.filter((line) => isOpen(line) && !page.typed.has(line.number));
}

/** Choose to accept all of these lines for which nothing is chosen yet. */
export function acceptAll(page, lines, changed) {
  for (const { number } of untouched(page, lines)) {
    page.typed.set(number, { answer: "accept", amount: "", reason: "" });
  }
  drawLines(page, changed);
  changed();
}

/** Draw every line anew. */
export function drawLines(page, changed) {
  const { answers, claim, words } = page;
  const labels = words.labels[claim.revisions.at(-1).labels];
  say(byId("lines-about"), `${several(answers.lines_answered, "line")} answered, ${answers.lines_open} open. `
    + "Each amount is the value of its formula, rounded once. Tax follows the lines that it is on.");
  fill(byId("lines"), grouped(answers.lines).map(({ panel, lines }) => [
    groupHead(page, panel === null ? "Whole vehicle" : labels[panel], lines, changed),
    lines.map((line) => lineRow(page, line, changed)),
  ]));
}

function groupHead(page, name, lines, changed) {
  const waits = lines.filter(isOpen);
  return el("div", { class: "group" }, el("h3", {}, name),
    waits.length < 2 || !mayAnswer(page) ? null : el("button", {
      type: "button", "aria-label": `Accept all open lines of: ${name}`,
      disabled: untouched(page, waits).length === 0, "data-lines": waits.map(({ number }) => number).join(" "),
      onclick: () => {
        acceptAll(page, lines, changed);
        byId(`line-${waits[0].number}`).querySelector("input:checked").focus({ preventScroll: true });
      },
    }, "Accept all"));
}

/** A panel's button has nothing to do once all of its lines have a choice. */
export function drawGroupButtons(page) {
  for (const button of document.querySelectorAll("#lines .group button")) {
    const lines = button.dataset.lines.split(" ").map((number) => page.answers.lines[number - 1]);
    button.disabled = untouched(page, lines).length === 0;
  }
}

function redrawn(page, line, changed) {
  const row = lineRow(page, line, changed);
  byId(`line-${line.number}`).replaceWith(row);
  return row;
}

function lineRow(page, line, changed) {
  const typed = page.typed.get(line.number);
  const answers = mayAnswer(page);
  const chooses = answers && (typed !== undefined || isOpen(line));
  return el("div", { class: "answer-line", id: `line-${line.number}`, "data-typed": typed !== undefined },
    el("span", { class: "no" }, el("span", { class: "unseen" }, "Line "), String(line.number)),
    el("strong", {}, line.line.label),
    el("span", { class: "amount" }, line.line.amount ?? "no price"),
    because(line.line),
    isOpen(line) && chooses ? el("p", { class: "said on-paper" }, "Open.") : given(line),
    earlier(page, line),
    chooses ? chooser(page, line, typed, changed) : null,
    answers && !chooses && line.line.amount !== null ? again(page, line, changed) : null);
}

/* ---- what was answered --------------------------------------------------------------------------- */

function given(line) {
  const { answer, follows } = line;
  const parts = ["agreed", "open", "disputed"].map((part) => `${part} ${line[part]}`).join(", ");
  const apart = line.line.amount !== null && (follows || (answer !== null && answer.answer !== "accept"));
  return [
    el("p", { class: "said" }, answerWords(line)),
    apart ? el("p", { class: "said soft" }, `Of ${line.line.amount}: ${parts}.`) : null,
    answer === null ? null : el("p", { class: "said soft" }, whenAndWho(answer)),
  ];
}

/* An answer that was carried over has the name of who issued the supplement, not of who gave it. */
function whenAndWho({ at, by, carried_from: carried }) {
  return by && carried === null ? `${moment(at)}, by ${by}.` : `${moment(at)}.`;
}

/** Answers that a later one replaced, newest first. */
function earlier({ answers }, line) {
  const all = answers.parts.flatMap((part) => part.lines
    .filter((each) => each.line === line.number).map((each) => ({ ...part, ...each })));
  const before = all.filter(({ part }) => part !== line.answer?.part).reverse();
  if (before.length === 0) return null;
  return el("details", { class: "said earlier" },
    el("summary", {}, several(before.length, "earlier answer")),
    el("ul", {}, before.map((each) => el("li", {}, answerWords({
      ...line,
      answer: {
        answer: each.answer, amount: each.amount ?? null, reason: each.reason ?? "",
        carried_from: each.carried_from,
      },
    }), " ", el("span", { class: "soft" }, whenAndWho(each))))));
}

/* An answered line, or a tax line, is answered only if somebody wants to. */
function again(page, line, changed) {
  const label = line.follows ? "Answer it by itself" : "Change the answer";
  return el("div", { class: "choose" }, el("button", {
    type: "button", class: "link", "aria-label": `${label}: line ${line.number}, ${line.line.label}`,
    onclick: () => {
      page.typed.set(line.number, {
        answer: line.answer?.answer ?? "accept",
        amount: line.answer?.amount ?? "",
        reason: line.answer?.reason ?? "",
      });
      changed();
      redrawn(page, line, changed).querySelector("input:checked").focus({ preventScroll: true });
    },
  }, label));
}

/* ---- the choice ---------------------------------------------------------------------------------- */

function chooser(page, line, typed, changed) {
  const name = freshId("choice");
  const problems = page.problems.get(line.number) ?? [];
  const told = el("p", { class: "problem", id: `${name}-problem`, hidden: problems.length === 0 },
    `${problems.map(({ text }) => text).join("; ")}.`);
  const choose = (value) => {
    page.typed.set(line.number, { amount: "", reason: "", ...typed, answer: value });
    page.problems.delete(line.number);
    changed();
    // Focus stays with the choice: arrow keys must be able to go on to the next.
    redrawn(page, line, changed).querySelector("input:checked").focus({ preventScroll: true });
  };
  return el("div", { class: "choose" },
    el("fieldset", { "aria-describedby": problems.length > 0 ? told.id : null },
      el("legend", { class: "unseen" }, `Answer to line ${line.number}, ${line.line.label}`),
      el("div", { class: "segments" }, CHOICES.map(([value, label]) => el("label", {},
        el("input", {
          type: "radio", name, value, checked: typed?.answer === value, onchange: () => choose(value),
        }), el("span", {}, label))))),
    typed === undefined || typed.answer === "accept" ? null
      : offer(page, line, typed, { told, problems, changed }),
    told,
    typed === undefined ? null : unsent(page, line, changed));
}

function unsent(page, line, changed) {
  const takeBack = () => {
    page.typed.delete(line.number);
    page.problems.delete(line.number);
    changed();
    redrawn(page, line, changed).querySelector("input, button")?.focus({ preventScroll: true });
  };
  return el("p", { class: "unsent" }, el("span", { class: "soft" }, "Not sent yet."), " ", el("button", {
    type: "button", class: "link", "aria-label": `Take it back: line ${line.number}, ${line.line.label}`,
    onclick: takeBack,
  }, "Take it back"));
}

function offer(page, line, typed, { told, problems, changed }) {
  const field = (key, tag, label, more) => {
    const id = freshId(key);
    const wrong = problems.some((each) => each.field === key);
    return el("div", { class: key === "amount" ? "field money" : "field" }, el("label", { for: id }, label),
      el(tag, {
        id, value: typed[key], ...more,
        "aria-invalid": wrong ? "true" : null, "aria-describedby": wrong ? told.id : null,
        oninput: ({ target }) => {
          typed[key] = target.value;
          page.problems.delete(line.number);
          told.hidden = true;
          target.removeAttribute("aria-invalid");
          changed();
        },
      }));
  };
  const amount = `Amount, ${page.answers.currency}`;
  return el("div", { class: typed.answer === "amount" ? "offer" : "offer reason-only" },
    typed.answer !== "amount" ? null : field("amount", "input", amount, { inputmode: "decimal", autocomplete: "off" }),
    field("reason", "textarea", "Reason", { rows: 2, maxlength: 2000 }));
}

/* How a claim stands, as the desk and the adjuster's page show it: sums, and lines with answers.
 *
 * Every sum comes from the server as text; widths of the bar are for the eye, and each part also
 * stands in words.
 */

import { el } from "./dom.js";

export const STATES = {
  draft: "Draft, not issued yet",
  issued: "Issued, waiting for the adjuster",
  answered: "Answered, waiting for both sides to agree",
  agreed: "Agreed by both sides",
  withdrawn: "Withdrawn",
};

export const ANSWERS = { accept: "Accepted", amount: "Another amount", decline: "Declined" };

const PARTS = [["agreed", "Agreed"], ["open", "Open"], ["disputed", "Disputed"]];

/** A moment of the server (UTC) in the reader's own time and manner. */
export function moment(text) {
  return new Date(text).toLocaleString([], {
    year: "numeric", month: "short", day: "numeric", hour: "2-digit", minute: "2-digit",
  });
}

/** A date as the reader writes it. */
export function day(text) {
  return new Date(`${text}T12:00:00`).toLocaleDateString([], {
    year: "numeric", month: "short", day: "numeric",
  });
}

/** Agreed, open and disputed in figures, and as one bar of three parts.
 *
 * Without `currency` where it stands beside them already.
 */
export function sumsOf(sums, currency = sums.currency) {
  const share = (part) => Math.max(0, Number(sums[part])) || 0;
  return el("div", { class: "standing" },
    el("dl", { class: "parts" }, PARTS.map(([part, label]) => el("div", { class: part },
      el("dt", {}, label), el("dd", {}, `${sums[part]} ${currency}`.trim())))),
    el("div", { class: "share", "aria-hidden": "true" },
      PARTS.map(([part]) => shareOf(part, share(part)))));
}

function shareOf(part, size) {
  const piece = el("span", { class: part });
  piece.style.flexGrow = String(size);
  return piece;
}

/** The words and the formula behind a line. */
export function because(line) {
  const { words, formula } = line.because;
  return el("p", { class: "because" }, `${words[0].toUpperCase()}${words.slice(1)}`,
    formula ? [" ", el("span", { class: "formula" }, `= ${inSigns(formula)}`)] : null);
}

/** A formula with the signs that are printed: × ÷ −; the figures stay as they are. */
export function inSigns(formula) {
  return formula.replaceAll(" * ", " × ").replaceAll(" / ", " ÷ ").replaceAll("-", "−");
}

/** What was said of a line, and where that comes from. */
export function answerWords({ answer, follows, line }) {
  if (answer === null && line.amount === null) return "No price yet: a supplement gives it.";
  if (answer === null) return follows ? "Follows the lines that it is on." : "Open.";
  const offered = answer.answer === "amount" ? ` ${answer.amount}` : "";
  const reason = answer.reason === "" ? "" : `: ${answer.reason}`;
  const carried = answer.carried_from === null ? null
    : `Carried over from revision ${answer.carried_from}.`;
  return [ended(`${ANSWERS[answer.answer]}${offered}${reason}`), carried].filter(Boolean).join(" ");
}

function ended(text) {
  return /[.!?…]$/.test(text) ? text : `${text}.`;
}

/** Lines in the order of the sheet, in groups: [{panel, lines}]; null for the whole vehicle. */
export function grouped(lines) {
  const groups = [];
  for (const line of lines) {
    const { panel } = line.line;
    if (groups.at(-1)?.panel !== panel) groups.push({ panel, lines: [] });
    groups.at(-1).lines.push(line);
  }
  return groups;
}

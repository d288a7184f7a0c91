/* What is typed and not sent yet, kept in the browser by claim and revision.
 *
 * A line is known by what it says, not by its number alone, so that after a supplement what was
 * typed is found again at the same line under another number. The key under which it is sent is kept
 * as well: after a reload the same answers are sent as the same request, which has one effect.
 */

import { newKey } from "./server.js";

const CHOICES = new Set(["accept", "amount", "decline"]);

function place(claim) {
  return `hailcalc.answer.${claim}`;
}

/** What each line says, by its number; of equal lines which one of them it is. */
function identities(lines) {
  const seen = new Map();
  return new Map(lines.map(({ number, line }) => {
    const says = JSON.stringify([line.kind, line.panel, line.label, line.amount, line.because.formula ?? ""]);
    const nth = seen.get(says) ?? 0;
    seen.set(says, nth + 1);
    return [number, `${nth} ${says}`];
  }));
}

/** An answer as it is sent: a comma becomes a point, and a reason is one line of text. */
export function asSent(line, { answer, amount, reason }) {
  if (answer === "accept") return { line, answer };
  const given = { line, answer, reason: reason.trim().replace(/\s+/g, " ") };
  return answer === "amount" ? { ...given, amount: amount.trim().replace(",", ".") } : given;
}

/** Keep what is typed; what is shown of a line is kept too, for the day when it is gone. */
export function keepTyped(claim, { revision, lines }, typed, key) {
  const says = identities(lines);
  const kept = [...typed].map(([number, given]) => {
    const { label, amount } = lines[number - 1].line;
    return { line: says.get(number), shown: `${label}, ${amount}`, ...given };
  });
  try {
    if (kept.length === 0) localStorage.removeItem(place(claim));
    else localStorage.setItem(place(claim), JSON.stringify({ revision, key, kept }));
  } catch {
    // Then it is there until the page is closed.
  }
}

/** What was typed before: {typed, key, lost}; `lost` is what was typed for lines that are gone.
 *
 * What the server has already is not typed any more: it was sent, and only the reply was lost.
 */
export function takeTyped(claim, { revision, lines }) {
  const before = read(claim);
  const says = identities(lines);
  const typed = new Map();
  for (const each of lines) {
    const found = before.kept.find(({ line }) => line === says.get(each.number));
    if (found === undefined || isGiven(each, found)) continue;
    const { answer, amount, reason } = found;
    typed.set(each.number, { answer, amount, reason });
  }
  const present = new Set(says.values());
  const same = before.revision === revision && typed.size === before.kept.length;
  return {
    typed,
    key: same && typeof before.key === "string" ? before.key : newKey(),
    lost: before.kept.filter(({ line }) => !present.has(line)),
  };
}

function read(claim) {
  let found = null;
  try {
    found = JSON.parse(localStorage.getItem(place(claim)));
  } catch {
    // As if there were nothing.
  }
  const kept = Array.isArray(found?.kept) ? found.kept.filter(isSound) : [];
  return { revision: found?.revision, key: found?.key, kept };
}

function isSound(each) {
  return CHOICES.has(each?.answer) && typeof each.amount === "string" && typeof each.reason === "string";
}

function isGiven({ number, answer }, typed) {
  const given = answer === null ? null : asSent(number, {
    answer: answer.answer, amount: answer.amount ?? "", reason: answer.reason,
  });
  return JSON.stringify(given) === JSON.stringify(asSent(number, typed));
}

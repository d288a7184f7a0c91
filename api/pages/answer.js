/* The adjuster's page: one claim, its sheet, and an answer to each line.
 *
 * Which claim it is follows from the token: it opens only that one. What is chosen and typed is kept
 * in the browser until it is sent, so a lost connection loses nothing; it is sent with a key, so that
 * sending it twice is sending it once. If a supplement came meanwhile, what was typed for lines that
 * are still the same is kept. Every sum comes from the server as text.
 */

import { asSent, keepTyped, takeTyped } from "./answer-kept.js";
import { acceptAll, drawGroupButtons, drawLines, isOpen, mayAnswer, untouched } from "./answer-lines.js";
import { SUPPLEMENT_COMES, SUPPLEMENT_DRAFTED, onlyDrafted, seenChanges, together } from "./answer-meanwhile.js";
import { drawPictures } from "./answer-pictures.js";
import { drawSettlement, drawSummary } from "./answer-summary.js";
import { byId, el, fill, redraw, say, several } from "./dom.js";
import { Away, NotLetIn, Refused, get, newKey, send } from "./server.js";
import { sumsOf } from "./standing.js";
import { takeToken, tokenForm } from "./token.js";

const MOST = 1000; // Answers that the server takes at once.
const AGAIN_MS = 30000;
/* How often it is sent at once again while the shop saves drafts, which change nothing that is seen. */
const TRIES = 4;

const page = {
  claim: null, sheet: null, answers: null, pictures: [], words: null,
  /* What is chosen and not sent yet, by line number: {answer, amount, reason}. */
  typed: new Map(),
  /* What is wrong with it, by line number: [{field, text}]. */
  problems: new Map(),
  key: newKey(),
  /* The key with which each settlement is agreed to, by its digest. */
  keys: new Map(),
  sending: false,
  /* Whether it is sent again by itself: it could not be for want of a connection. */
  waits: false,
  /* Grows with every look at the claim: what an older look brings is not shown. */
  look: 0,
};

/* ---- fetching ---------------------------------------------------------------------------------- */

/** Fetch the claim that this token opens and show it; returns what was typed for lines now gone. */
async function fetchAll() {
  page.look += 1;
  const { look } = page;
  const found = await fetched();
  return look === page.look ? shown(found) : [];
}

async function fetched() {
  const { claim: id, role } = await get("/v1/token");
  if (role !== "adjuster") throw new NotLetIn("This token is the shop’s own, not an adjuster’s.");
  const path = `/v1/claims/${id}`;
  const claim = await get(path);
  const [sheet, answers, pictures, words] = await Promise.all([
    get(`${path}/revisions/${claim.revision}`), get(`${path}/answers?revision=${claim.revision}`),
    get(`${path}/photographs`), page.words ?? get("/pages/words.json"),
  ]);
  return { claim, sheet, answers, words, pictures: pictures.photographs };
}

function shown(found) {
  Object.assign(page, found);
  const { pictures } = page;
  const { typed, key, lost } = takeTyped(page.claim.id, page.answers);
  Object.assign(page, { typed, key });
  page.problems.clear();
  byId("main").hidden = false;
  drawSummary(page, (error) => { if (error instanceof NotLetIn) failed(error); });
  drawSettlement(page, askToAgree);
  const box = byId("pictures");
  const which = JSON.stringify([page.claim.id, pictures]);
  byId("pictures-section").hidden = pictures.length === 0;
  if (box.dataset.which !== which) {
    box.dataset.which = which;
    drawPictures(box, page.claim.id, pictures, page.words.labels[page.claim.revisions.at(-1).labels]);
  }
  drawLines(page, changed);
  drawBar();
  return lost;
}

/** Look at the claim; `why` is told with it. Returns whether that worked. */
async function start(why = "") {
  try {
    const lost = await fetchAll();
    notice(why, lost);
    return true;
  } catch (error) {
    failed(error);
    return false;
  }
}

function notice(text, lost = []) {
  const box = byId("notice");
  box.hidden = text === "" && lost.length === 0;
  fill(box, text === "" ? null : el("p", {}, text), lost.length === 0 ? null : el("div", { class: "lost" },
    el("p", {}, "What was typed for lines that are not on this sheet any more:"),
    el("ul", {}, lost.map(({ shown: line, answer, amount, reason }) => el("li", {},
      [line, { accept: "accepted", amount: `other amount ${amount}`, decline: "declined" }[answer], reason]
        .filter(Boolean).join("; "))))));
}

function failed(error) {
  const box = byId("notice");
  const button = (label) => el("button", { type: "button", onclick: () => start() }, label);
  if (error instanceof NotLetIn) {
    const text = `${error.message} Open the whole link that the shop sent, or ask the shop for another.`;
    fill(box, tokenForm(text, () => start()));
  } else if (error instanceof Away) {
    fill(box, el("p", {}, `${error.message} What you typed is kept on this device.`), button("Try again"));
  } else if (error instanceof Refused) fill(box, el("p", {}, error.message), button("Look again"));
  else throw error;
  box.hidden = false;
  box.scrollIntoView({ block: "nearest" });
}

/* ---- the bar with the sums ----------------------------------------------------------------------- */

/** What is to be sent is other than before: another key, and kept in the browser. */
function changed() {
  page.key = newKey();
  page.waits = false;
  keepTyped(page.claim.id, page.answers, page.typed, page.key);
  drawGroupButtons(page);
  drawBar();
}

function drawBar() {
  const { claim, answers, typed } = page;
  const { agreed, open, disputed, currency } = answers;
  redraw(byId("standing"), [agreed, open, disputed, currency], () => sumsOf(answers));
  const some = mayAnswer(page) && (typed.size > 0 || answers.lines.some(isOpen));
  byId("sending").hidden = !some;
  byId("accept-open").hidden = untouched(page).length === 0;
  byId("send").setAttribute("aria-disabled", String(typed.size === 0 || page.sending));
  if (!page.sending) say(byId("said"), barWords(claim, answers, untouched(page).length));
}

function barWords({ state }, { lines }, without) {
  if (page.typed.size === 0) {
    const open = lines.filter(isOpen).length;
    return open === 0 || !mayAnswer(page) ? "" : `${several(open, "line")} to answer.`;
  }
  const more = without === 0 ? "" : `, ${several(without, "line")} still without one`;
  const opens = state === "agreed" ? " The claim is agreed; an answer that changes a sum opens it again." : "";
  return `${several(page.typed.size, "answer")} not sent yet${more}.${opens}`;
}

/* ---- sending ------------------------------------------------------------------------------------- */

/** What can be seen to be missing before anything is sent; the server decides about the rest. */
function missing(answers) {
  page.problems.clear();
  for (const { line, answer, amount, reason } of answers) {
    const lacks = [];
    if (amount === "") lacks.push({ field: "amount", text: "the amount is missing" });
    if (answer !== "accept" && reason === "") lacks.push({ field: "reason", text: "the reason is missing" });
    if (lacks.length > 0) page.problems.set(line, lacks);
  }
  return page.problems.size > 0;
}

function showProblems() {
  drawLines(page, changed);
  const first = Math.min(...page.problems.keys());
  say(byId("said"), `Not sent: ${several(page.problems.size, "answer")} with a problem, the first at line ${first}.`);
  const row = byId(`line-${first}`);
  row.scrollIntoView({ block: "center" });
  (row.querySelector("[aria-invalid=true]") ?? row.querySelector("input:checked"))?.focus({ preventScroll: true });
}

/** Send what is typed. `tries` counts the attempts; `drafted`: the shop saved a draft meanwhile. */
async function sendAnswers(tries = 1, drafted = false) {
  if (page.sending || page.typed.size === 0) return;
  const numbers = [...page.typed.keys()].sort((one, other) => one - other).slice(0, MOST);
  const answers = numbers.map((line) => asSent(line, page.typed.get(line)));
  if (missing(answers)) {
    showProblems();
    return;
  }
  page.sending = true;
  page.waits = false;
  drawBar();
  say(byId("said"), "Being sent…");
  const { claim } = page;
  try {
    const view = await send("POST", `/v1/claims/${claim.id}/answers`, {
      body: { revision: page.answers.revision, answers }, version: claim.version, key: page.key,
      waiting: (error) => say(byId("said"), `${error.message} It is sent as soon as it is back; nothing is lost.`),
    });
    page.sending = false;
    await wasSent(answers, view, drafted);
  } catch (error) {
    page.sending = false;
    await notSent(error, answers, tries);
  }
}

/* Only what was sent goes: meanwhile something else may have been typed. */
async function wasSent(answers, view, drafted) {
  for (const sent of answers) {
    const typed = page.typed.get(sent.line);
    if (typed !== undefined && JSON.stringify(asSent(sent.line, typed)) === JSON.stringify(sent)) {
      page.typed.delete(sent.line);
    }
  }
  page.answers = view;
  changed();
  if (!await start(drafted ? SUPPLEMENT_DRAFTED : "")) return;
  // The notice may be out of view: where the answers are sent it is said in short.
  say(byId("said"), [`${several(answers.length, "answer")} sent.`, drafted ? SUPPLEMENT_COMES : "",
    barWords(page.claim, page.answers, untouched(page).length)].filter(Boolean).join(" "));
  (byId("settlement-title") ?? byId("lines-title")).focus({ preventScroll: page.answers.settlement === null });
}

async function notSent(error, answers, tries) {
  drawBar();
  if (error instanceof Refused && error.kind === "invalid-answer") {
    const others = error.problems.filter((each) => !atLine(each, answers));
    if (page.problems.size > 0) showProblems();
    if (others.length > 0) failed(error);
  } else if (error instanceof Refused && [409, 412].includes(error.status)) {
    await hasChanged("Not sent", error, tries, (drafted) => sendAnswers(tries + 1, drafted));
  } else if (error instanceof Away) {
    page.waits = error.passing;
    say(byId("said"), `${error.message} Not sent yet: what you typed is kept on this device.`
      + `${page.waits ? " It is tried again until it works." : ""}`);
    setTimeout(sendWaiting, AGAIN_MS);
  } else failed(error);
}

function sendWaiting() {
  if (page.waits) sendAnswers();
}

/** Note a problem of the server's at its line: its pointer is /answers/N/field. */
function atLine({ pointer, found, expected }, answers) {
  const [, , position, field] = pointer.split("/");
  const answer = answers[Number(position)];
  if (answer === undefined) return false;
  const told = page.problems.get(answer.line) ?? [];
  told.push({ field: field ?? null, text: `found ${found}, expected ${expected}` });
  page.problems.set(answer.line, told);
  return true;
}

/** Refused, since the claim is another by now: show it, and say what happened.
 *
 * If nothing that is seen here has changed, `again` sends the same once more.
 */
async function hasChanged(what, error, tries, again) {
  const before = { ...page };
  if (!await start() || page.claim.id !== before.claim.id) return;
  const phrases = seenChanges(before, page);
  const unseen = phrases.length === 0 && error.status === 412;
  if (unseen && tries < TRIES) {
    await again(onlyDrafted(before, page));
    return;
  }
  const { lost } = takeTyped(page.claim.id, page.answers);
  const how = unseen ? "the shop is saving drafts of a supplement" : together(phrases) || error.message;
  const kept = page.typed.size === 0 && lost.length === 0 ? ""
    : " What you typed is kept for lines that are still the same; look at them and send again.";
  notice(`${what}, because the claim has changed meanwhile: ${ended(how)} This is the claim as it is now.${kept}`,
    lost);
  byId("notice").scrollIntoView({ block: "nearest" });
}

function ended(text) {
  return text.endsWith(".") ? text : `${text}.`;
}

/* ---- the settlement ------------------------------------------------------------------------------ */

function askToAgree() {
  const { settlement, currency } = page.answers;
  const unsent = page.typed.size === 0 ? ""
    : ` ${several(page.typed.size, "answer")} of yours not sent yet; this is the settlement without.`;
  ask("Agree to this settlement?", `${settlement.agreed} ${currency} agreed, ${settlement.net} net of the `
    + `deductible; ${settlement.disputed} disputed and not paid.${unsent}`, "Agree", () => agree(settlement.digest));
}

/** Agree to the settlement of this digest, which is the one that was asked about. */
async function agree(digest, tries = 1, drafted = false) {
  const key = page.keys.get(digest) ?? newKey();
  page.keys.set(digest, key);
  const tell = (text) => { if (byId("agree-said") !== null) say(byId("agree-said"), text); };
  if (byId("agree") !== null) byId("agree").disabled = true;
  tell("Being sent…");
  try {
    await send("POST", `/v1/claims/${page.claim.id}/agreement`, {
      body: { settlement: digest }, version: page.claim.version, key,
      waiting: (error) => tell(`${error.message} It is sent as soon as it is back.`),
    });
    if (await start(drafted ? SUPPLEMENT_DRAFTED : "")) byId("settlement-title")?.focus();
  } catch (error) {
    if (byId("agree") !== null) byId("agree").disabled = false;
    tell("");
    if (error instanceof Away) tell(`${error.message} Not sent yet: try again.`);
    else if (error instanceof Refused && [409, 412].includes(error.status)) {
      await hasChanged("Not agreed", error, tries, (drafted) => agree(digest, tries + 1, drafted));
    } else failed(error);
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

/* ---- coming back --------------------------------------------------------------------------------- */

/** Look whether what is seen has changed while the page was in the background. */
async function lookAgain() {
  if (document.hidden || page.claim === null || page.sending || byId("question").open) return;
  const { id, version } = page.claim;
  const claim = await get(`/v1/claims/${id}`).catch(() => null);
  if (claim === null || page.claim.id !== id || claim.version === version || page.claim.version !== version) return;
  const before = { ...page };
  if (!await start() || page.claim.id !== id) return;
  const phrases = seenChanges(before, page);
  const { lost } = takeTyped(id, page.answers);
  if (phrases.length > 0) {
    notice(`The claim has changed since you last looked: ${together(phrases)}. This is the claim as it is now.`, lost);
  } else if (onlyDrafted(before, page)) notice(SUPPLEMENT_DRAFTED);
}

byId("send").addEventListener("click", () => sendAnswers());
byId("accept-open").addEventListener("click", () => {
  acceptAll(page, page.answers.lines, changed);
  byId("send").focus();
});
window.addEventListener("online", sendWaiting);
document.addEventListener("visibilitychange", lookAgain);
takeToken();
start();

/* The page's start, and what ties its parts together.
 *
 * One object, `app`, holds the draft of the claim and the last answer of the server. An edit
 * changes the draft, saves it in the browser at once, and asks for a price as soon as typing
 * pauses. Without the server all goes on but the price, which is asked for again and again.
 */

import {
  draftFromText, fileName, isEmpty, missingFrom, newDraft, pathOf, setAt, today, valueAt,
} from "./claim.js";
import { byId, download, el, fill, say } from "./dom.js";
import { newDrawing, showDent } from "./drawing.js";
import { fieldAt, fieldNear, showAtFields } from "./fields.js";
import { drawHeader, drawSummaries } from "./header.js";
import {
  drawKeep, forgetKept, isKept, listenToKeep, openStored, resumeKeeping, takeKept,
} from "./keep.js";
import { fetchOutlines } from "./outlines.js";
import { drawPanels, openPanel, updatePanels } from "./panels.js";
import { drawPrice } from "./price.js";
import { Away, NotLetIn, Refused, claimPdf, get, matrixFor, sheetText } from "./server.js";
import { takeToken, tokenForm } from "./token.js";

const CLAIM = "hailcalc.claim";
const PREFERENCES = "hailcalc.preferences";
const PAUSE_MS = 250;
/* How long a value that is being typed is left alone before its problem is shown. */
const TYPING_MS = 1500;
const LEAVING_MS = 250;
const RETRY_MS = [2000, 4000, 8000, 15000];

const app = {
  draft: newDraft(),
  preferences: { paper: "letter", labels: "us", counting: "sizes" },
  words: null,
  matrices: [],
  matrix: null,
  matrixChoice: null,
  fields: new Map(),
  open: null,
  /* Outlines by the address that they were asked under, and what has been asked. */
  outlines: new Map(),
  askedOutlines: new Set(),
  drawing: newDrawing(),
  /* The last sheet, its text as it came, and whether it is of the draft as it is now. */
  sheet: null,
  text: "",
  fresh: false,
  asking: false,
  away: false,
  tries: 0,
  missing: [],
  problems: [],
  visibleProblems: [],
  typing: null,
  downloaded: "",
  /* What is known of the claim in the store, what was sent there without an answer, the storm that
     it is found by, and what is being done and said about keeping it. */
  kept: null,
  pending: null,
  storm: "",
  keeping: null,

  value: (path) => valueAt(app.draft, path),
  set(path, value) {
    setAt(app.draft, path, value);
    app.edited(path);
  },
  edited,
  showProblems,
  goTo,
  foldHeader,
  offerUndo,
  prefer,
  question,
  askForToken,
  replaceDraft,
  speak: (text) => say(byId("spoken"), text),
};

let timer = 0;
let typingTimer = 0;
let asked = 0;
let request = new AbortController();

/* ---- editing and saving ---------------------------------------------------------------- */

/** After every change of the draft. */
function edited(path = []) {
  app.fresh = false;
  noteTyping();
  save();
  if (path[0] === "vehicle" && path[1] === "body") drawPanels(app);
  update();
  askSoon(PAUSE_MS);
}

/** Bring everything that depends on the draft up to date, fields left alone. */
function update() {
  app.missing = missingFrom(app.draft);
  drawSummaries(app);
  updatePanels(app);
  drawPrice(app);
  drawKeep(app);
}

function save() {
  try {
    localStorage.setItem(CLAIM, JSON.stringify(app.draft));
    const time = new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
    saved(`Saved on this device at ${time}.`);
  } catch {
    saved("This browser keeps nothing: download the claim file before you leave.");
  }
}

/* Shown, but not read out after every dent. */
function saved(text) {
  const status = byId("saved");
  status.setAttribute("aria-live", text.startsWith("Saved") ? "off" : "polite");
  say(status, text);
}

/** What was kept in the browser under a name; null if there is nothing readable. */
function kept(name) {
  try {
    return localStorage.getItem(name);
  } catch {
    return null;
  }
}

function takeDraft() {
  const text = kept(CLAIM);
  if (text === null) return false;
  try {
    app.draft = draftFromText(text);
    return true;
  } catch {
    return false; // written by something else; the next edit replaces it
  }
}

/** Put another claim in place of the one on the page. */
function replaceDraft(draft) {
  app.draft = draft;
  forgetKept(app);
  app.open = null;
  app.drawing = { ...newDrawing(), size: app.drawing.size };
  app.sheet = null;
  app.fresh = false;
  app.problems = [];
  app.typing = null;
  clearNotice();
  drawAll();
  save();
  askSoon(0);
}

function drawAll() {
  if (app.words === null) return; // drawn once the words have come
  app.fields.clear();
  drawHeader(app);
  drawPanels(app);
  const filled = missingFrom(app.draft).every(({ path }) => path[0] === "panels");
  byId("claim-fold").open = !filled;
  byId("other-fold").open = (app.draft.other ?? []).length > 0;
  showProblems();
  update();
}

/** Fold the header away once it has what a price needs. */
function foldHeader() {
  if (missingFrom(app.draft).every(({ path }) => path[0] === "panels")) {
    byId("claim-fold").open = false;
  }
}

/* ---- the price ---------------------------------------------------------------------------- */

function askSoon(delay) {
  clearTimeout(timer);
  timer = setTimeout(ask, delay);
}

/** Ask for matrix and price of the draft as it is; an answer to an older draft is dropped. */
async function ask() {
  request.abort();
  request = new AbortController();
  asked += 1;
  const mine = asked;
  app.asking = true;
  try {
    if (app.words === null) await loadWords();
    const chosen = await chosenMatrix();
    if (mine !== asked) return;
    if (chosen !== null) {
      // Noted only when it is taken: one that came too late must be asked for again.
      app.matrixChoice = chosen.choice;
      takeMatrix(chosen.matrix);
    }
    await fetchOutlines(app);
    if (mine !== asked) return;
    updatePanels(app);
    await price(mine);
    if (mine === asked) reached();
  } catch (error) {
    if (mine !== asked || error.name === "AbortError") return;
    if (error instanceof NotLetIn) {
      askForToken(error.message);
      return;
    }
    if (error instanceof Refused) {
      await notForThisPage(error);
      return;
    }
    if (!(error instanceof Away)) throw error;
    notReached(error);
  } finally {
    if (mine === asked) {
      app.asking = false;
      showProblems();
    }
  }
}

async function loadWords() {
  const [words, { matrices }] = await Promise.all([get("/pages/words.json"), get("/v1/matrices")]);
  app.words = words;
  app.matrices = matrices;
  drawAll();
}

/** {choice, matrix}: whose sizes are counted, if the choice of it has changed; null if not. */
async function chosenMatrix() {
  const { matrix, claim } = app.draft;
  const day = claim.date_of_loss ?? today();
  const choice = JSON.stringify([matrix, claim.insurer, day]);
  if (choice === app.matrixChoice) return null;
  try {
    return { choice, matrix: await matrixFor(matrix, claim.insurer, day) };
  } catch (error) {
    // Pricing will say what is wrong with the choice; till then the old sizes stay.
    if (error instanceof Refused) return null;
    throw error;
  }
}

function takeMatrix(matrix) {
  const before = JSON.stringify(app.matrix?.matrix);
  app.matrix = matrix;
  if (before !== JSON.stringify(matrix.matrix)) drawPanels(app);
}

async function price(mine) {
  app.problems = [];
  if (missingFrom(app.draft).length > 0) return;
  const sent = structuredClone(app.draft);
  try {
    const text = await sheetText(sent, request.signal);
    if (mine !== asked) return;
    app.text = text;
    app.sheet = JSON.parse(text);
    app.fresh = true;
    takeMatrix(app.sheet.matrix);
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    if (mine === asked) app.problems = problemsOf(error, sent);
  }
}

/** The problems of a refusal with their places on the page and in words. */
function problemsOf(refusal, sent) {
  if (refusal.problems.length === 0) return [{ path: [], place: "The claim", text: refusal.message }];
  return refusal.problems.map((problem) => {
    const text = `found ${problem.found}, expected ${problem.expected}`;
    if (problem.in !== "body") {
      const place = [problem.file ?? problem.in, problem.pointer].filter(Boolean).join(" ");
      return { path: [], place, text };
    }
    return { path: pathOf(sent, problem.pointer), place: "The claim", text };
  });
}

/* ---- problems ------------------------------------------------------------------------------ */

/** Remember that a field is being typed into: its problem can wait until that is over. */
function noteTyping() {
  const active = document.activeElement;
  app.typing = active?.matches("input[type=text], input[type=date]") ? active : null;
  clearTimeout(typingTimer);
  typingTimer = setTimeout(typingOver, TYPING_MS);
}

function typingOver() {
  if (app.typing === null) return;
  app.typing = null;
  showProblems();
}

/** Show problems at their fields and in the list, but for a field that is being typed into. */
function showProblems() {
  if (app.words === null) return;
  // A half-typed year is a date of long ago, which no matrix fits: that can wait too.
  const waits = ({ path }) => app.typing !== null
    && (app.typing.type === "date" || fieldNear(app, path)?.control === app.typing);
  app.visibleProblems = app.problems.filter((problem) => !waits(problem));
  showAtFields(app, app.visibleProblems);
  update();
}

/** Bring a field into view and focus it, whatever is folded over it. */
function goTo(path) {
  if (path[0] === "panels" && Number.isNaN(Number(path[1])) && app.open !== path[1]) {
    openPanel(app, path[1]);
  }
  const field = fieldNear(app, path);
  if (path[2] === "dents" && typeof path[3] === "number" && fieldAt(app, path) === undefined) {
    showDent(app, path[1], path[3]);
    if (app.drawing.chosen === path[3]) return;
  }
  if (field === undefined) return;
  for (let fold = field.control.closest("details"); fold !== null;
    fold = fold.parentElement.closest("details")) fold.open = true;
  const target = field.control.matches("fieldset")
    ? field.control.querySelector("input") : field.control;
  target.focus();
  target.scrollIntoView({ block: "center" });
}

/* ---- the server away ----------------------------------------------------------------------- */

function notReached(error) {
  const wait = RETRY_MS[Math.min(app.tries, RETRY_MS.length - 1)];
  app.tries += 1;
  app.away = true;
  notice(`${error.message} Go on counting: the claim is kept on this device, and the price is asked `
    + "for again every few seconds.", "Try now", () => askSoon(0));
  askSoon(wait);
}

function reached() {
  app.tries = 0;
  if (!app.away) return;
  app.away = false;
  clearNotice();
}

/** The token opens nothing, or there is none: ask for one; counting goes on without prices. */
function askForToken(reason) {
  const box = byId("notice");
  if (box.dataset.text === reason && !box.hidden) return;
  box.dataset.text = reason;
  box.hidden = false;
  const meanwhile = app.words === null ? "" : " Counting goes on meanwhile, on this device.";
  fill(box, tokenForm(`${reason} hailcalc serve prints the address of this page with one; the owner `
    + `gives others with hailcalc token add.${meanwhile}`, () => {
    clearNotice();
    askSoon(0);
    resumeKeeping(app);
  }));
}

/** What the token may do is not enough to count with: an adjuster's opens one claim, on its page. */
async function notForThisPage({ message }) {
  const { role } = await get("/v1/token").catch(() => ({ role: null }));
  if (role !== "adjuster") askForToken(message);
  else {
    notice("This link is an adjuster's and opens one claim.", "To the claim",
      () => location.assign("/answer"));
  }
}

function notice(text, action, run) {
  const box = byId("notice");
  if (box.dataset.text === text && !box.hidden) return;
  box.dataset.text = text;
  box.hidden = false;
  fill(box, el("p", {}, text), el("button", { type: "button", onclick: run }, action));
}

function clearNotice() {
  byId("notice").hidden = true;
}

function offerUndo(text, undo) {
  notice(text, "Undo", () => {
    clearNotice();
    undo();
  });
}

/* ---- files --------------------------------------------------------------------------------- */

function claimText() {
  return `${JSON.stringify(app.draft, null, 2)}\n`;
}

function downloadClaim() {
  app.downloaded = claimText();
  download(app.downloaded, "application/json", fileName(app.draft, ".json"));
}

/** Do something that ends this claim, after asking if anything of it would be lost. */
function leave(title, yes, run) {
  if (isEmpty(app.draft) || app.downloaded === claimText() || isKept(app)) {
    run();
    return;
  }
  question({
    title, yes, run, no: "Stay with this claim", saving: true,
    text: "The claim on this page is neither kept in the store nor downloaded as it is now, and this "
      + "browser keeps one claim at a time.",
  });
}

/** Ask before something is done that takes something away; `refuse` is run for "no", if given. */
function question({ title, text, no, yes, run, refuse = null, saving = false }) {
  const dialog = byId("question");
  say(byId("question-title"), title);
  say(byId("question-text"), text);
  say(byId("question-no"), no);
  byId("question-save").hidden = !saving;
  say(byId("question-yes"), yes);
  const closing = (then) => () => {
    dialog.close();
    then?.();
  };
  byId("question-no").onclick = closing(refuse);
  byId("question-yes").onclick = closing(run);
  dialog.showModal();
}

async function openFile(file) {
  let draft;
  try {
    draft = draftFromText(await file.text());
  } catch (error) {
    notice(`${file.name} was not opened: ${error.message}.`, "Close", clearNotice);
    return;
  }
  leave(`Open ${file.name}?`, "Open it", () => {
    replaceDraft(draft);
    app.downloaded = claimText();
  });
}

/** Open the sheet ("price") or the job card ("plan") as PDF. */
async function openPdf(route) {
  const said = byId("sheet-said");
  said.textContent = "The PDF is being made…";
  try {
    const { paper, labels } = app.preferences;
    const { blob, name } = await claimPdf(route, app.draft, paper, labels);
    const url = URL.createObjectURL(blob);
    // A browser may hold the new window back, so there is a link as well.
    window.open(url, "_blank");
    fill(said, "The PDF is ready: ", el("a", { href: url, download: name }, name));
  } catch (error) {
    if (error instanceof Refused) {
      app.problems = problemsOf(error, app.draft);
      showProblems();
      said.textContent = "It cannot be printed as it is; see the problems.";
    } else if (error instanceof NotLetIn) askForToken(error.message);
    else said.textContent = `${error.message} Try again.`;
  }
}

function downloadSheet() {
  if (!app.fresh) {
    byId("sheet-said").textContent = "There is no price yet for the claim as it is now.";
    return;
  }
  byId("sheet-said").textContent = "";
  download(app.text, "application/json", fileName(app.draft, "-sheet.json"));
}

/* ---- start --------------------------------------------------------------------------------- */

function takePreferences() {
  try {
    const { paper, labels, counting } = JSON.parse(kept(PREFERENCES)) ?? {};
    if (["letter", "a4"].includes(paper)) app.preferences.paper = paper;
    if (["us", "uk"].includes(labels)) app.preferences.labels = labels;
    if (["sizes", "drawing"].includes(counting)) app.preferences.counting = counting;
  } catch {
    // written by something else
  }
  for (const key of ["paper", "labels"]) {
    const select = byId(key);
    select.value = app.preferences[key];
    select.addEventListener("change", () => prefer(key, select.value));
  }
}

function prefer(key, value) {
  app.preferences[key] = value;
  byId("sheet-said").textContent = "";
  try {
    localStorage.setItem(PREFERENCES, JSON.stringify(app.preferences));
  } catch {
    // it holds until the page is closed
  }
  if (app.words !== null) {
    drawPanels(app);
    showProblems();
  }
}

function listen() {
  byId("new-claim").addEventListener("click", () => {
    leave("Begin a new claim?", "Begin a new claim", () => replaceDraft(newDraft(app.draft)));
  });
  byId("download-claim").addEventListener("click", downloadClaim);
  byId("open-file").addEventListener("click", () => byId("file").click());
  byId("file").addEventListener("change", async ({ target }) => {
    const [file] = target.files;
    if (file !== undefined) await openFile(file);
    target.value = ""; // so that the same file can be opened again
  });
  byId("question-save").addEventListener("click", downloadClaim);
  byId("open-pdf").addEventListener("click", () => openPdf("price"));
  byId("open-card").addEventListener("click", () => openPdf("plan"));
  byId("download-sheet").addEventListener("click", downloadSheet);
  listenToKeep(app);
  // A moment later, so that what a press is aimed at does not move away under it.
  document.addEventListener("focusout", ({ target }) => {
    setTimeout(() => {
      if (app.typing === target) typingOver();
    }, LEAVING_MS);
  });
  window.addEventListener("online", () => askSoon(0));
  window.addEventListener("storage", ({ key }) => {
    // Another window went on with the claim; two windows must not overwrite each other.
    if (key !== CLAIM || !takeDraft()) return;
    app.sheet = null;
    app.fresh = false;
    app.problems = [];
    drawAll();
    askSoon(0);
  });
}

/** Open the claim that the address names, once nothing on this page would be lost by it. */
async function openNamed() {
  const id = new URLSearchParams(location.search).get("claim");
  if (id === null) return;
  // Taken out, so that a reload does not open it over what was counted since.
  history.replaceState(null, "", location.pathname);
  if (id === app.kept?.id && app.kept.text !== JSON.stringify(app.draft)) return;
  leave("Open the claim from the store?", "Open it", async () => {
    try {
      await openStored(app, id);
    } catch (error) {
      if (error instanceof NotLetIn) askForToken(error.message);
      else notice(`The claim was not opened: ${error.message}`, "Close", clearNotice);
    }
  });
}

takeToken();
takePreferences();
takeKept(app);
if (takeDraft()) saved("As it was kept on this device.");
else saved("What you type is kept on this device.");
listen();
app.missing = missingFrom(app.draft);
drawKeep(app);
ask().then(openNamed).then(() => resumeKeeping(app));

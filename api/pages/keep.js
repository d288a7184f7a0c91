/* The claim of this page in the server's store: kept as a draft, with photographs.
 *
 * What is remembered in the browser is which claim it is, the version that this page goes on from,
 * and what was sent without an answer yet. That is sent again with the same key until there is one,
 * after a reload too, so that a lost answer makes no second claim. If somebody else was quicker the
 * server says so (412), and the estimator chooses: open theirs, or keep this one as the next draft.
 * Every draft that was kept stays in the store.
 */

import { today } from "./claim.js";
import { byId, fill, say } from "./dom.js";
import { newUploader } from "./photographs.js";
import { Away, NotLetIn, Refused, get, newKey, refusalInWords, send } from "./server.js";
import { STATES } from "./standing.js";

const KEPT = "hailcalc.kept";
const AGAIN_MS = 15000;

let timer = 0;
let uploader = null;

/* ---- what is remembered -------------------------------------------------------------------- */

/** Take up what this browser knows of the claim in the store.
 *
 * `kept` is {id, version, draft, revision, at, text, storm}, without a draft where a supplement is
 * begun; `pending` is {id, version, key, text, storm}, sent and not answered. Both may be null.
 */
export function takeKept(app) {
  let found = {};
  try {
    found = JSON.parse(localStorage.getItem(KEPT)) ?? {};
  } catch {
    // written by something else, or nothing can be kept
  }
  const { kept, pending, storm } = found;
  app.kept = typeof kept?.id === "string" && Number.isInteger(kept.version) ? kept : null;
  app.pending = typeof pending?.key === "string" && typeof pending.text === "string" ? pending : null;
  app.storm = typeof storm === "string" ? storm : "";
}

function remember(app, known) {
  Object.assign(app, known);
  const { kept, pending, storm } = app;
  try {
    localStorage.setItem(KEPT, JSON.stringify({ kept, pending, storm }));
  } catch {
    // then it is known until the page is closed
  }
}

/** The claim on this page is another one, perhaps of the same storm. */
export function forgetKept(app) {
  app.keeping = null;
  remember(app, { kept: null, pending: null });
}

/** Whether the store has the claim as it is on the page. */
export function isKept(app) {
  return app.kept !== null && app.kept.draft !== null && isSame(app);
}

function isSame(app) {
  const { kept } = app;
  return kept !== null && kept.text === JSON.stringify(app.draft) && kept.storm === app.storm;
}

/* ---- what is shown --------------------------------------------------------------------------- */

/** Whether the claim is in the store, what keeps it there, and its photographs. */
export function drawKeep(app) {
  const { kept, keeping } = app;
  const busy = keeping?.busy ?? false;
  say(byId("kept-said"), words(app));
  const button = byId("keep-claim");
  say(button, kept === null ? "Keep this claim"
    : kept.draft === null ? "Keep it as a supplement" : "Keep it as the next draft");
  button.disabled = busy || app.missing.length > 0 || (isKept(app) && app.pending === null);
  const link = byId("to-desk");
  say(link, kept === null ? "All claims" : "To the claim");
  link.href = kept === null ? "/claims" : `/claims?claim=${kept.id}`;
  const storm = byId("storm");
  if (document.activeElement !== storm) storm.value = app.storm;
  drawUploader(app);
}

function words(app) {
  const { kept, keeping, missing } = app;
  if (keeping !== null && (keeping.busy || app.pending !== null)) return keeping.text;
  if (keeping !== null && keeping.about === JSON.stringify(app.draft)) return keeping.text;
  const needed = missing.map(({ what }) => what).join(", ");
  if (kept === null) {
    return `Not kept yet; only on this device.${needed ? ` To be kept it needs: ${needed}.` : ""}`;
  }
  if (kept.draft === null) {
    return isSame(app) ? `As issued in revision ${kept.revision}. Kept, it is the draft of a supplement.`
      : `Changed since revision ${kept.revision}; not kept yet.`;
  }
  return isSame(app) ? `Kept as draft ${kept.draft} at ${kept.at}.`
    : `Changed since draft ${kept.draft} was kept at ${kept.at}.`;
}

function drawUploader(app) {
  const box = byId("photographs");
  const id = app.kept?.id ?? null;
  if (box.dataset.claim !== (id ?? "")) {
    box.dataset.claim = id ?? "";
    uploader = id === null ? null : newUploader(id, {
      notLetIn: ({ message }) => app.askForToken(message),
    });
    fill(box, uploader?.element ?? []);
    box.dataset.of = "";
  }
  if (uploader === null) return;
  const panels = app.draft.panels.map(({ panel }) => panel);
  const labels = app.words?.labels?.[app.preferences.labels] ?? {};
  const of = JSON.stringify([panels, Object.keys(labels).length, app.preferences.labels, app.open]);
  if (box.dataset.of === of) return;
  box.dataset.of = of;
  uploader.update(panels, labels, app.open);
}

function tell(app, text, busy = false) {
  app.keeping = text === null ? null : { text, busy, about: JSON.stringify(app.draft) };
  drawKeep(app);
}

function timeOf(moment) {
  const time = moment.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  const day = moment.toLocaleDateString([], { month: "short", day: "numeric" });
  return moment.toDateString() === new Date().toDateString() ? time : `${time}, ${day}`;
}

/* ---- keeping --------------------------------------------------------------------------------- */

/** Keep the claim as it is: opened in the store the first time, the next draft after that. */
export async function keepClaim(app, version = app.kept?.version ?? null) {
  if (app.keeping?.busy) return;
  const text = JSON.stringify(app.draft);
  // What was sent before may have arrived: only when that is settled is it known what to go on from.
  let from = version;
  if (app.pending !== null && app.pending.text !== text) {
    if (!await settle(app)) return;
    from = app.kept.version;
  }
  if (app.pending === null) {
    const { storm } = app;
    remember(app, {
      pending: { id: app.kept?.id ?? null, version: from, key: newKey(), text, storm },
    });
  }
  await settle(app);
}

/** Go on with what was sent and not answered. */
export function resumeKeeping(app) {
  if (app.pending !== null && !app.keeping?.busy) settle(app);
}

/** Send what is to be kept until there is an answer; true if it is kept. */
async function settle(app) {
  const { pending } = app;
  // Another claim may have come to this page while the server was waited for.
  const over = () => app.pending?.key !== pending.key;
  const query = pending.storm === "" ? "" : `?${new URLSearchParams({ storm: pending.storm })}`;
  const path = pending.id === null ? "/v1/claims" : `/v1/claims/${pending.id}/draft`;
  clearTimeout(timer);
  tell(app, "Being kept…", true);
  try {
    const claim = await send(pending.id === null ? "POST" : "PUT", `${path}${query}`, {
      body: JSON.parse(pending.text), version: pending.version ?? undefined, key: pending.key,
      waiting: ({ message }) => {
        if (!over()) tell(app, `${message} It will be kept when it is back.`, true);
      },
    });
    if (over()) return false;
    app.keeping = null;
    remember(app, {
      pending: null,
      kept: {
        id: claim.id, version: claim.version, draft: claim.draft, revision: claim.revision,
        at: timeOf(new Date()), text: pending.text, storm: pending.storm,
      },
    });
    drawKeep(app);
    return true;
  } catch (error) {
    if (!over()) notKept(app, error);
    return false;
  }
}

function notKept(app, error) {
  if (error instanceof NotLetIn) {
    tell(app, "Not kept yet: the token opens nothing.");
    app.askForToken(error.message);
  } else if (error instanceof Away) {
    tell(app, `${error.message} ${error.passing ? "It will be kept when it is back."
      : "Not kept yet; that is tried again every few seconds."}`);
    timer = setTimeout(() => resumeKeeping(app), AGAIN_MS);
  } else if (error instanceof Refused) {
    remember(app, { pending: null });
    tell(app, `Not kept. ${refusalInWords(error)}`);
    if (error.status === 412) offerBoth(app);
  } else throw error;
}

/** Somebody else changed the claim in the store. */
async function offerBoth(app) {
  const { id } = app.kept;
  let claim;
  try {
    claim = await get(`/v1/claims/${id}`);
  } catch {
    return; // said already that it is not kept; keeping it again asks again
  }
  if (app.kept?.id !== id) return;
  const now = claim.draft === null ? `revision ${claim.revision}` : `draft ${claim.draft}`;
  app.question({
    title: "Somebody else has changed this claim",
    text: `In the store it is now at ${now}. ${STATES[claim.state]}. Open that here in place of what is on `
      + "this page, or keep what is on this page as the next draft; theirs stays in the store too.",
    no: "Open theirs", refuse: () => openNow(app, id), saving: true,
    yes: "Keep mine as the next draft", run: () => keepClaim(app, claim.version),
  });
}

/* ---- opening --------------------------------------------------------------------------------- */

/** Open a claim of the store on this page: its draft, or the sheet that a supplement begins with. */
export async function openStored(app, id) {
  const path = `/v1/claims/${encodeURIComponent(id)}`;
  const claim = await get(path);
  if (claim.state === "withdrawn") throw new Error("It is withdrawn and can only be read.");
  const supplement = claim.draft === null;
  const from = await get(supplement ? `${path}/revisions/${claim.revision}` : `${path}/draft`);
  const file = from.claim_file;
  for (const key of ["revision", "supplement"]) delete file.claim[key];
  delete file.photographs;
  if (supplement) file.claim.dated = today();
  app.replaceDraft(file);
  const storm = claim.storm ?? "";
  remember(app, {
    storm,
    kept: {
      id: claim.id, version: claim.version, draft: claim.draft, revision: claim.revision, storm,
      at: supplement ? "" : timeOf(new Date(from.saved)), text: JSON.stringify(app.draft),
    },
  });
  drawKeep(app);
}

async function openNow(app, id) {
  try {
    await openStored(app, id);
  } catch (error) {
    if (error instanceof NotLetIn) app.askForToken(error.message);
    else tell(app, `The claim was not opened: ${error.message}`);
  }
}

/** What the buttons and the field about keeping do. */
export function listenToKeep(app) {
  byId("keep-claim").addEventListener("click", () => keepClaim(app));
  byId("storm").addEventListener("input", ({ target }) => {
    remember(app, { storm: target.value.trim() });
    drawKeep(app);
  });
  window.addEventListener("online", () => resumeKeeping(app));
  window.addEventListener("storage", ({ key }) => {
    if (key !== KEPT || app.keeping?.busy) return;
    takeKept(app);
    drawKeep(app);
  });
}

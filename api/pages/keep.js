/* The claim of this page in the server's store: kept as a draft, with photographs.
 *
 * What is remembered in the browser is which claim it is and the version that this page goes on
 * from. If somebody else was quicker the server says so (412), and the estimator chooses: open
 * theirs, or keep this one as the next draft. Every draft that was kept stays in the store.
 */

import { byId, el, fill, redraw, say } from "./dom.js";
import { Away, NotLetIn, Refused, get, newKey, send } from "./server.js";

const KEPT = "hailcalc.kept";

/** What is remembered of a kept claim: {id, version, draft, at, text}; null if it is not kept. */
export function takeKeptClaim() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEPT));
    return typeof kept?.id === "string" && Number.isInteger(kept.version) ? kept : null;
  } catch {
    return null;
  }
}

function remember(app, kept) {
  app.kept = kept;
  try {
    if (kept === null) localStorage.removeItem(KEPT);
    else localStorage.setItem(KEPT, JSON.stringify(kept));
  } catch {
    // then it is known until the page is closed
  }
}

/** The claim on this page is another one. */
export function forgetKept(app) {
  remember(app, null);
  app.keeping = null;
}

/** Whether a claim is in the store, and a button to keep it as it is now. */
export function drawKeep(app) {
  const { kept, keeping } = app;
  const same = kept !== null && kept.text === JSON.stringify(app.draft);
  const state = { kept, keeping, same, missing: app.missing.length > 0, panels: panelsOf(app) };
  redraw(byId("keep"), state, () => [
    el("p", { id: "kept-said", role: "status" }, words(kept, keeping, same)),
    el("div", { class: "row" },
      el("button", {
        type: "button", class: "strong", id: "keep-claim",
        disabled: keeping !== null || same || state.missing,
        onclick: () => keepClaim(app),
      }, kept === null ? "Keep in the store" : "Keep it as it is now"),
      kept === null ? el("a", { class: "button", href: "/claims" }, "All claims")
        : el("a", { class: "button", href: `/claims?claim=${kept.id}` }, "To the claim")),
    kept === null ? null : photographs(app),
  ]);
}

function words(kept, keeping, same) {
  if (keeping !== null) return keeping;
  if (kept === null) return "Not kept in the store yet; only on this device.";
  if (same) return `Kept as draft ${kept.draft} at ${kept.at}.`;
  return `Changed since draft ${kept.draft} was kept at ${kept.at}.`;
}

function panelsOf(app) {
  return app.draft.panels.map((panel) => panel.panel);
}

function progress(app, text) {
  app.keeping = text;
  drawKeep(app);
}

/** Keep the claim as it is: opened in the store the first time, the next draft after that. */
export async function keepClaim(app, version = app.kept?.version) {
  const draft = structuredClone(app.draft);
  const path = app.kept === null ? "/v1/claims" : `/v1/claims/${app.kept.id}/draft`;
  const method = app.kept === null ? "POST" : "PUT";
  progress(app, "Being kept…");
  try {
    const claim = await send(method, path, {
      body: draft, version, key: newKey(),
      waiting: (error) => progress(app, `${error.message} It will be kept when it is back.`),
    });
    app.keeping = null;
    remember(app, {
      id: claim.id, version: claim.version, draft: claim.draft, at: now(),
      text: JSON.stringify(draft),
    });
    drawKeep(app);
  } catch (error) {
    app.keeping = null;
    drawKeep(app);
    tellWhy(app, error);
  }
}

function now() {
  return new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
}

function tellWhy(app, error) {
  const said = byId("kept-said");
  if (error instanceof NotLetIn) app.askForToken(error.message);
  else if (error instanceof Refused && error.status === 412) offerBoth(app);
  else if (error instanceof Refused) {
    const places = error.problems.map((each) => `${each.pointer}: found ${each.found}, expected `
      + `${each.expected}`);
    say(said, [error.message, ...places].join(" "));
  } else if (error instanceof Away) say(said, `${error.message} It is not kept yet: try again.`);
  else throw error;
}

/** Somebody else changed the claim in the store. */
function offerBoth(app) {
  app.question({
    title: "Somebody else has changed this claim",
    text: "Since this page last kept it, another draft was kept or the claim went on. Keep what is on "
      + "this page as the next draft (theirs stays in the store), or leave it and look at the claim "
      + "first.",
    no: "Look first", yes: "Keep mine as the next draft",
    run: async () => {
      const { version } = await get(`/v1/claims/${app.kept.id}`);
      await keepClaim(app, version);
    },
  });
}

/** Open a claim of the store on this page: its draft, or the sheet that a supplement begins with. */
export async function openStored(app, id) {
  const claim = await get(`/v1/claims/${encodeURIComponent(id)}`);
  const file = claim.draft === null
    ? (await get(`/v1/claims/${claim.id}/revisions/${claim.revision}`)).claim_file
    : (await get(`/v1/claims/${claim.id}/draft`)).claim_file;
  for (const key of ["revision", "supplement"]) delete file.claim[key];
  delete file.photographs;
  app.replaceDraft(file);
  const text = claim.draft === null ? "" : JSON.stringify(app.draft);
  remember(app, {
    id: claim.id, version: claim.version, draft: claim.draft ?? claim.revision, at: now(), text,
  });
  drawKeep(app);
}

/* ---- photographs ----------------------------------------------------------------------------- */

function photographs(app) {
  const labels = app.words?.labels?.[app.preferences.labels] ?? {};
  const select = el("select", { id: "photograph-panel" },
    el("option", { value: "" }, "Whole vehicle"),
    panelsOf(app).map((panel) => el("option", { value: panel }, labels[panel] ?? panel)));
  const said = el("p", { class: "soft", role: "status" });
  const input = el("input", {
    id: "photograph-file", type: "file", multiple: true,
    accept: "image/jpeg,image/png,image/heic,image/heif,image/webp",
    onchange: async ({ target }) => {
      await sendAll(app, [...target.files], select.value, said);
      target.value = "";
    },
  });
  return el("div", { class: "row" },
    el("div", { class: "field" }, el("label", { for: "photograph-panel" }, "Photograph of"), select),
    el("div", { class: "field" },
      el("label", { for: "photograph-file" }, "From the camera or a file"), input),
    said);
}

/** Send photographs one after the other; those that were not taken are named. */
async function sendAll(app, files, panel, said) {
  const failed = [];
  for (const [position, file] of files.entries()) {
    const at = `${position + 1} of ${files.length}`;
    say(said, `Sending photograph ${at}…`);
    const query = panel === "" ? "" : `?${new URLSearchParams({ panel })}`;
    try {
      await send("POST", `/v1/claims/${app.kept.id}/photographs${query}`, {
        body: file, waiting: () => say(said, `Photograph ${at} waits for the server…`),
      });
    } catch (error) {
      if (error instanceof NotLetIn) app.askForToken(error.message);
      failed.push(`${file.name}: ${error.message}`);
    }
  }
  const sent = files.length - failed.length;
  const told = sent === 1 ? "1 photograph is kept." : `${sent} photographs are kept.`;
  fill(said, [sent === 0 ? null : told, ...failed].filter((text) => text !== null).join(" "));
}

/* What belongs to a claim on the desk: sheets with their changes, lines with answers, links,
 * photographs, history. */

import { drawPictures } from "./answer-pictures.js";
import { el, fill, several } from "./dom.js";
import { newUploader } from "./photographs.js";
import { get, getFile } from "./server.js";
import { answerWords, because, grouped, moment } from "./standing.js";

const WHOLE = "Whole vehicle";

/* ---- sheets -------------------------------------------------------------------------------------- */

/** Every sheet that was issued, newest first. */
export function revisions(desk, claim) {
  return el("section", { "aria-labelledby": "revisions-title" },
    el("h2", { id: "revisions-title" }, "Sheets"),
    el("ul", { class: "revisions" },
      [...claim.revisions].reverse().map((each) => revision(desk, claim, each))));
}

function revision(desk, claim, each) {
  const path = `/v1/claims/${claim.id}`;
  const said = el("p", { class: "soft", role: "status" });
  const opener = (way, accept, label, what) => el("button", {
    type: "button", "aria-label": `${label} of ${what}`,
    onclick: () => openFile(desk, `${path}${way}`, accept, said),
  }, label);
  const name = `revision ${each.number}`;
  const about = [moment(each.issued), several(each.dents, "dent"), each.complete ? null : "incomplete",
    each.signed_by ? "signed" : null];
  return el("li", {},
    el("div", {}, el("strong", {}, `Revision ${each.number}`), ` ${each.total} ${each.currency}`,
      el("p", { class: "soft" }, about.filter(Boolean).join(" · ")),
      each.reason ? el("p", {}, each.reason) : null),
    el("div", { class: "tools" },
      opener(`/revisions/${each.number}`, "application/pdf", "PDF", name),
      opener(`/revisions/${each.number}`, "application/json", "JSON", name)),
    each.number === 1 ? null : changes(desk, path, each, opener),
    said);
}

async function openFile(desk, path, accept, said) {
  said.textContent = "Being fetched…";
  try {
    const { blob, name } = await getFile(path, accept);
    const url = URL.createObjectURL(blob);
    // A browser may hold the new window back, so there is a link as well.
    window.open(url, "_blank");
    const file = accept === "application/json" ? name.replace(/(\.pdf)?$/, ".json") : name;
    fill(said, "Ready: ", el("a", { href: url, download: file }, file));
  } catch (error) {
    said.textContent = "";
    desk.failed(error);
  }
}

/** What a supplement changed, fetched when it is unfolded. */
function changes(desk, path, { number }, opener) {
  const body = el("div", {});
  const load = async ({ target }) => {
    if (!target.open || body.childElementCount > 0) return;
    fill(body, el("p", { class: "soft" }, "Being fetched…"));
    try {
      fill(body, difference(desk, await get(`${path}/changes?to=${number}`)),
        el("div", { class: "tools" },
          opener(`/changes?to=${number}`, "application/pdf", "Changes (PDF)", `revision ${number}`)));
    } catch (error) {
      fill(body);
      target.open = false;
      desk.failed(error);
    }
  };
  return el("details", { class: "changes", ontoggle: load },
    el("summary", {}, `What changed since revision ${number - 1}`), body);
}

/** Sheets that were issued by an older version tell neither `facts` nor `words`. */
function difference(desk, { panels, currency, facts = [] }) {
  const { labels } = desk;
  const side = (line) => (line === null ? "none" : line.amount ?? "no price");
  const changed = panels.filter((group) => (group.facts ?? []).length > 0
    || group.lines.some(({ change }) => change !== "same"));
  const same = panels.filter((group) => !changed.includes(group)).map(({ panel }) => nameOf(labels, panel));
  return [
    facts.length === 0 ? null : el("ul", { class: "facts" }, facts.map((fact) => el("li", {}, factWords(fact)))),
    el("ul", { class: "differences" }, changed.map((group) => el("li", {},
      el("p", { class: "group" }, el("span", {}, nameOf(labels, group.panel)),
        el("span", {}, `${group.old} → ${group.new} ${currency}`)),
      el("ul", {}, group.lines.filter(({ change }) => change !== "same").map((line) => el("li", {},
        el("span", {}, `${(line.new ?? line.old).label}`,
          line.old === null ? " (new)" : null, line.new === null ? " (no longer)" : null),
        el("span", { class: "amount" }, `${side(line.old)} → ${side(line.new)}`),
        line.words && line.old !== null && line.new !== null ? el("p", { class: "soft" }, line.words) : null)),
      (group.facts ?? []).map((fact) => el("li", { class: "soft" }, factWords(fact))))))),
    same.length === 0 ? null : el("p", { class: "soft" }, `As before: ${same.join(", ")}.`),
  ];
}

function factWords({ label, old, new: now }) {
  return `${label}: ${old ?? "nothing"} → ${now ?? "nothing"}`;
}

function nameOf(labels, panel) {
  return panel === null ? WHOLE : labels[panel];
}

/* ---- lines ----------------------------------------------------------------------------------------- */

/** Every line of the latest sheet with the adjuster's answer. */
export function lines(desk, answers) {
  const { labels } = desk;
  return el("section", { "aria-labelledby": "answers-title" },
    el("h2", { id: "answers-title" }, `Lines of revision ${answers.revision}`),
    el("p", { class: "soft" }, `${several(answers.lines_answered, "line")} answered, `
      + `${answers.lines_open} open. A line with a bar beside it is disputed, all of it or a part.`),
    el("div", { class: "answers" }, grouped(answers.lines).map(({ panel, lines: own }) => [
      el("h3", { class: "group" }, nameOf(labels, panel)),
      own.map(line),
    ])));
}

function line(each) {
  const { line: printed, number, answer } = each;
  const disputed = Number(each.disputed) !== 0;
  return el("div", { class: disputed ? "answer-line disputed" : "answer-line" },
    el("span", { class: "no" }, String(number)), el("strong", {}, printed.label),
    el("span", { class: "amount" }, printed.amount ?? "no price"),
    because(printed),
    el("p", { class: "said" }, answerWords(each), answer === null ? null
      : el("span", { class: "soft" }, ` ${[answer.by, moment(answer.at)].filter(Boolean).join(", ")}`)));
}

/* ---- links, photographs, history -------------------------------------------------------------------- */

/** The links that were given; `revoke` is asked to end one. */
export function linkList(desk, { links }, revoke) {
  const ended = (link) => new Date(link.until) < new Date();
  const words = (link) => {
    if (link.revoked !== null) return `Revoked ${moment(link.revoked)}`;
    return ended(link) ? `Ended ${moment(link.until)}` : `Works until ${moment(link.until)}`;
  };
  return el("section", { "aria-labelledby": "links-title" },
    el("h2", { id: "links-title" }, "Links"),
    links.length === 0 ? el("p", { class: "soft" }, "No adjuster has a link yet.")
      : el("ul", { class: "links" }, links.map((link) => el("li", {},
        el("div", {}, el("strong", {}, link.name || "Name removed"), el("p", { class: "soft" }, words(link))),
        link.revoked !== null || ended(link) ? null : el("button", {
          type: "button", "aria-label": `Revoke the link of ${link.name}`, onclick: () => revoke(desk, link),
        }, "Revoke")))));
}

/** The photographs, and what adds others; `leaveOut` is asked to leave one out. */
export function pictures(desk, { claim, photographs, draft, answers, may }, leaveOut) {
  const { labels } = desk;
  const none = el("p", { class: "soft" }, "None yet.");
  const box = el("div", { class: "pictures" });
  const open = claim.state !== "withdrawn" && claim.forgotten === null && may("write");
  const draw = (kept) => {
    none.hidden = kept.length > 0;
    box.hidden = kept.length === 0;
    drawPictures(box, claim.id, kept, labels, open ? (each) => leaveOut(desk, each) : null);
  };
  draw(photographs);
  const section = el("section", { "aria-labelledby": "pictures-title" },
    el("h2", { id: "pictures-title" }, "Photographs"), none, box);
  if (!open) return section;
  const { element, update, busy } = uploaderOf(desk, claim.id, draw);
  const counted = draft?.claim_file.panels.map(({ panel }) => panel)
    ?? [...new Set(answers?.lines.map((each) => each.line.panel).filter((panel) => panel !== null) ?? [])];
  update(counted, labels);
  section.append(el("details", { class: "fold", open: busy() },
    el("summary", {}, "Add photographs"), element,
    el("p", { class: "soft" }, "Sheets issued from now on print them, but those left out, which no "
      + "adjuster sees either. The place where they were taken is not kept.")));
  return section;
}

/* One for each claim, so that photographs on their way outlive that the claim is shown anew. */
function uploaderOf(desk, id, draw) {
  const heard = desk.uploading.get(id)?.heard ?? { notLetIn: desk.failed };
  heard.done = async () => {
    try {
      draw((await get(`/v1/claims/${id}/photographs`)).photographs);
    } catch (error) {
      desk.failed(error);
    }
  };
  if (!desk.uploading.has(id)) desk.uploading.set(id, { heard, uploader: newUploader(id, heard) });
  return desk.uploading.get(id).uploader;
}

const ACTS = {
  "claim opened": ({ draft }) => `Opened with draft ${draft}`,
  "draft saved": ({ draft }) => `Draft ${draft} saved`,
  "revision issued": ({ revision: number }) => `Revision ${number} issued`,
  "lines answered": ({ answered, revision: number }) => `${several(answered, "line")} of revision ${number} answered`,
  "answers carried": ({ answered, revision: number }) => `${several(answered, "answer")} carried over to revision ${number}`,
  agreed: ({ side }) => `Settlement agreed to by the ${side}`,
  withdrawn: () => "Withdrawn",
  "photograph added": ({ number }) => `Photograph ${number} added`,
  "photograph left out": ({ number }) => `Photograph ${number} left out of sheets from then on`,
  "link given": () => "Link given to an adjuster",
  "link revoked": () => "Link of an adjuster revoked",
  forgotten: () => "Persons and photographs removed",
  imported: () => "Imported from an archive",
};

/** What was done to the claim, newest first; adjusters by the names of their links. */
export function events({ history, links }) {
  const who = (id) => links.find((link) => link.id === id)?.name || id.replace("-", " ");
  const count = history.length === 1 ? "1 entry" : `${history.length} entries`;
  return el("details", { class: "fold" },
    el("summary", {}, el("h2", {}, "History"), " ", el("span", { class: "soft" }, count)),
    el("ol", { class: "events" }, [...history].reverse().map((each) => el("li", {},
      el("span", {}, ACTS[each.act]?.(each.details) ?? each.act),
      el("span", { class: "soft" }, `${moment(each.at)}, by ${who(each.who)}`)))));
}

/* What the claim comes to: sums, what is missing or wrong, and every line with its figures.
 *
 * Sums are strings from the server and are shown as they came. The page adds, rounds and
 * reformats no money; it only groups lines under headings.
 */

import { byId, el, redraw, say, several } from "./dom.js";
import { fieldAt, fieldNear } from "./fields.js";
import { inLabels, labelOf } from "./panels.js";
import { drawPlan } from "./plan.js";
import { inSigns } from "./standing.js";

const GROUPS = [
  ["Removal and refit", ["removal", "fastener"]],
  ["Other lines", ["part", "sublet", "refinish", "body"]],
  ["Whole vehicle", ["repair", "oversize", "extra", "minimum"]],
  ["Tax", ["tax"]],
];
/* Keys of a claim file that say too little by themselves, for fields that are not on the page. */
const KEYS = {
  agreed: "agreed price", replace_cost: "price of the replacement",
  replace_minutes: "minutes of the replacement", tally: "count", mm: "millimetres",
  marked: "marks",
};
const SUMS = [
  ["subtotal", "Subtotal"], ["tax", "Tax"], ["total", "Total"], ["deductible", "Deductible"],
  ["net", "Net of the deductible"],
];

/** Show the price as it stands. */
export function drawPrice(app) {
  drawSums(app);
  drawState(app);
  drawProblems(app);
  drawPlan(app, hasSums(app) ? app.sheet : null);
  drawLines(app);
  // Not at every dent, while the next price is on its way: that would only flicker.
  for (const id of ["open-pdf", "open-card", "download-sheet"]) byId(id).disabled = !hasSums(app);
}

/** Whether the last sheet may still be shown while the claim has gone on. */
function hasSums(app) {
  return app.sheet !== null && app.missing.length === 0 && app.visibleProblems.length === 0;
}

function drawSums(app) {
  const priced = hasSums(app);
  const parts = priced ? pricedSums(app) : [["Total", "no price yet"], ["", whyNoPrice(app)]];
  byId("sums").classList.toggle("unpriced", !priced);
  redraw(byId("sums"), parts, () => parts.map(([label, value]) => el("div", {},
    el("span", { class: "label" }, label), " ", el("strong", {}, value))));
}

function pricedSums(app) {
  const { total, net, complete } = app.sheet.totals;
  return [
    [`Total, ${app.sheet.matrix.matrix.currency}`, total],
    ["Net", net],
    ["", complete ? "Complete" : "Incomplete"],
  ];
}

function whyNoPrice(app) {
  if (app.visibleProblems.length > 0) return several(app.visibleProblems.length, "problem");
  if (app.missing.length > 0) return "Not all filled in";
  return app.away ? "Server not reached" : "…";
}

function drawState(app) {
  const older = !app.fresh && (app.away || app.problems.length > 0);
  const shows = [app.missing, hasSums(app) ? app.sheet.evidence : null, older, app.preferences.labels];
  redraw(byId("state"), shows, () => {
    if (app.missing.length > 0) return stillNeeded(app);
    if (!hasSums(app)) return [];
    return [
      older ? el("p", { class: "marked-note" }, "The sums are from before the last change.") : null,
      notPriced(app), warnings(app),
    ];
  });
  byId("price").setAttribute("aria-busy", String(app.asking));
}

/* No scolding: nobody can fill in everything at once. */
function stillNeeded(app) {
  return el("div", {}, el("p", { class: "soft" }, "Still needed for a price:"),
    el("ul", { class: "needed" }, app.missing.map(({ path, what }) => el("li", {},
      el("button", { type: "button", class: "link", onclick: () => app.goTo(path) },
        path[0] === "panels" ? `${labelOf(app, path[1])}: ${what}` : what)))));
}

function notPriced(app) {
  const names = app.sheet.evidence.not_priced;
  if (names.length === 0) return [];
  const listed = names.map((name) => labelOf(app, name)).join(", ");
  return [el("p", { class: "marked-note" }, el("strong", {}, `Incomplete: ${listed} without a `
    + "price yet."), " The sums leave out what has no price; they stand once a price is agreed "
    + "or the panel is replaced.")];
}

function warnings(app) {
  return app.sheet.evidence.warnings.map((text) => el("p", { class: "marked-note" },
    inLabels(app, text)));
}

function drawProblems(app) {
  const problems = app.visibleProblems;
  const section = byId("problems");
  section.hidden = problems.length === 0;
  if (problems.length === 0) return;
  say(byId("problems-title"), several(problems.length, "problem"));
  const listed = problems.map((problem) => ({ ...problem, place: placeInWords(app, problem) }));
  redraw(byId("problem-list"), listed, () => listed.map(({ path, place, text }) => el("li", {},
    path[0] === "panels" || fieldNear(app, path) !== undefined
      ? el("button", { type: "button", class: "link", onclick: () => app.goTo(path) }, `${place}:`)
      : el("strong", {}, `${place}:`),
    ` ${text}`)));
}

function placeInWords(app, { path, place }) {
  if (path.length === 0) return place;
  const onPanel = path[0] === "panels" && Number.isNaN(Number(path[1]));
  const keys = inWords(onPanel ? path.slice(2) : path);
  const words = fieldAt(app, path)?.label ?? keys.join(", ");
  if (!onPanel) return words;
  return [labelOf(app, path[1]), words.charAt(0).toLowerCase() + words.slice(1)]
    .filter(Boolean).join(", ");
}

/** Keys as words; a position in a list of dents is the dent's number. */
function inWords(keys) {
  return keys.map((key, position) => {
    if (typeof key === "number") {
      return ["dents", "oversize"].includes(keys[position - 1]) ? `dent ${key + 1}` : String(key + 1);
    }
    return keys[position + 1] !== undefined && key === "dents" ? null : KEYS[key] ?? key;
  }).filter((word) => word !== null);
}

function drawLines(app) {
  const shown = hasSums(app) && app.sheet.lines.length > 0;
  byId("lines-section").hidden = !shown;
  if (!shown) return;
  const { name, revision = 1, currency, title } = app.sheet.matrix.matrix;
  const numbered = app.sheet.lines.map((line, position) => ({ ...line, number: position + 1 }));
  redraw(byId("lines"), [app.sheet.digest, app.preferences.labels], () => [
    el("p", { class: "soft" }, `Priced under ${title || name} (${name}, revision ${revision}).`),
    table(app, currency, grouped(app, numbered)),
  ]);
}

/** Lines under headings: [heading, lines], in the sheet's order. */
function grouped(app, lines) {
  const groups = new Map();
  for (const line of lines) {
    const heading = line.panel !== null ? labelOf(app, line.panel)
      : GROUPS.find(([, kinds]) => kinds.includes(line.kind))?.[0] ?? "Other lines";
    groups.set(heading, [...(groups.get(heading) ?? []), line]);
  }
  return [...groups];
}

/* The roles are spelled out because a narrow screen lays rows out as a list, and a table that is
   not laid out as one would lose them. */
function table(app, currency, groups) {
  const head = ["No.", "Line", "Because", `Amount, ${currency}`];
  return el("table", { role: "table", "aria-labelledby": "lines-title" },
    el("thead", { role: "rowgroup" }, el("tr", { role: "row" },
      head.map((text) => el("th", { role: "columnheader", scope: "col" }, text)))),
    groups.map(([heading, lines]) => el("tbody", { role: "rowgroup" },
      el("tr", { role: "row", class: "group" },
        el("th", { role: "rowheader", colspan: "4", scope: "rowgroup" }, heading)),
      lines.map(lineRow))),
    el("tbody", { role: "rowgroup", class: "totals" }, SUMS.map(([key, label]) => el("tr", {
      role: "row", class: key === "total" || key === "net" ? "heavy" : null,
    },
    el("th", { role: "rowheader", colspan: "3", scope: "row" }, label),
    el("td", { role: "cell", class: "amount" }, app.sheet.totals[key])))));
}

function lineRow(line) {
  const { words, formula } = line.because;
  return el("tr", { role: "row", class: "line" },
    el("td", { role: "cell", class: "no" }, String(line.number)),
    el("td", { role: "cell", class: "what" }, line.label),
    el("td", { role: "cell", class: "because" }, el("span", {}, words), " ",
      formula === undefined ? null : el("span", { class: "formula" }, `= ${inSigns(formula)}`)),
    el("td", { role: "cell", class: "amount" }, line.amount ?? "no price yet"));
}

/* The panels of the body with what is counted on them; one is open at a time.
 *
 * The list stays as it is while somebody counts: only texts in it change, so that focus and
 * scrolling stay where they are. It is made anew when body, matrix or claim change.
 */

import { byId, el, fill, freshId, say, several } from "./dom.js";
import { choiceField, countField, listField, textField, tickField, ticksField } from "./fields.js";
import { accessOf, countOf, countedHow, dentsOn, hasOwnOutline } from "./claim.js";
import { drawingFields, updateDrawing } from "./drawing.js";
import { MARKS, columnFor, diameter, largerThan, longest } from "./sizes.js";

const ACCESS = [
  ["plan", "let the plan choose"], ["push", "push"], ["glue", "glue"], ["replace", "replace"],
];
const METALS = [["steel", "steel"], ["aluminium", "aluminium"], ["composite", "composite"]];

const WAYS = [["sizes", "by size"], ["drawing", "on the drawing"]];

/* Beyond this many fields a page is slow and nobody edits them by hand. */
const SINGLE_DENTS_SHOWN = 120;

/** Make the list anew. */
export function drawPanels(app) {
  fill(byId("panels"), panelNames(app).map((name) => panelItem(app, name)));
  drawSizesNote(app);
  updatePanels(app);
}

/** Panels of the body in the sheet's order, then others that the claim has all the same. */
function panelNames(app) {
  const ofBody = app.words.bodies[app.draft.vehicle.body] ?? [];
  const others = app.draft.panels.map((entry) => entry.panel).filter((name) => !ofBody.includes(name));
  return [...ofBody, ...new Set(others)];
}

/** What a panel is called. */
export function labelOf(app, name) {
  const labels = app.words.labels[app.preferences.labels];
  return Object.hasOwn(labels, name) ? labels[name] : name;
}

/** A remark of the server with what panels are called instead of their identifiers. */
export function inLabels(app, text) {
  const named = (words) => words.replaceAll(/[a-z]+(?:-[a-z]+)*/g, (name) => labelOf(app, name));
  return text.replace(/^[a-z-]+(?=: )/, named)
    .replace(/ if .* (?:is|are) not pushed\.$/, named);
}

function drawSizesNote(app) {
  const { matrix } = app;
  const note = byId("sizes-note");
  if (app.draft.vehicle.body === undefined && app.draft.panels.length === 0) {
    note.textContent = "Choose the body first: its panels come here.";
  } else if (matrix === null) {
    note.textContent = "The sizes to count come with the matrix: choose one, or give insurer and "
      + "date of loss.";
  } else {
    const { name, revision = 1 } = matrix.matrix;
    const provisional = app.draft.matrix === undefined && app.draft.claim.date_of_loss === undefined;
    note.textContent = `Sizes of the matrix ${name}, revision ${revision}`
      + `${provisional ? ", the one that fits a loss of today" : ""}. A dent's size is its longest `
      + "axis; its coin is the smallest that covers it.";
  }
}

function panelItem(app, name) {
  const open = app.open === name;
  const id = `panel-${name}`;
  const heading = el("button", {
    type: "button", class: "panel-name", "aria-expanded": String(open),
    "aria-controls": open ? id : null, "data-panel": name,
    onclick: () => openPanel(app, app.open === name ? null : name),
  },
  el("strong", {}, labelOf(app, name)),
  el("span", { class: "soft state" }),
  el("span", { class: "number" }));
  const item = el("li", {}, el("h3", {}, heading));
  if (open) {
    item.append(el("div", {
      id, class: "editor", role: "group", "aria-label": labelOf(app, name),
    }, editor(app, name)));
  }
  return item;
}

/** Open a panel (null: close all) and bring it into view. */
export function openPanel(app, name) {
  app.open = name;
  app.foldHeader();
  drawPanels(app);
  app.showProblems();
  const button = headingOf(name);
  if (button === undefined) return;
  button.focus({ preventScroll: true });
  button.scrollIntoView({ block: "start" });
}

function headingOf(name) {
  return [...byId("panels").querySelectorAll(".panel-name")]
    .find((button) => button.dataset.panel === name);
}

/** Bring counts and states in the list up to date, and tell what was counted in all. */
export function updatePanels(app) {
  const unpriced = app.sheet !== null && app.fresh ? app.sheet.evidence.not_priced : [];
  for (const button of byId("panels").querySelectorAll(".panel-name")) {
    const name = button.dataset.panel;
    const entry = app.draft.panels.find((panel) => panel.panel === name);
    const dents = dentsOn(entry);
    const words = stateWords(app, name, entry, unpriced.includes(name));
    say(button.querySelector(".state"), words.join(", "));
    say(button.querySelector(".number"), dents === 0 ? aboutSampled(app, name) : several(dents, "dent"));
  }
  const counts = app.draft.panels.map(dentsOn);
  const all = counts.reduce((sum, count) => sum + count, 0);
  const on = counts.filter((count) => count > 0).length;
  const sampled = app.draft.panels.filter((entry) => countedHow(entry) === "sample").length;
  say(byId("counted"), [all === 0 ? "" : `${several(all, "dent")} on ${several(on, "panel")}`,
    sampled === 0 ? "" : `${several(sampled, "panel")} sampled`].filter(Boolean).join(", "));
  updateMarks(app);
  updateDrawing(app);
  updateKept(app);
}

function stateWords(app, name, entry, unpriced) {
  const words = [];
  const wrong = app.visibleProblems.filter(({ path }) => path[0] === "panels" && path[1] === name);
  if (wrong.length > 0) words.push(several(wrong.length, "problem"));
  if (unpriced) words.push("no price yet");
  words.push(...reachedWords(app, name, entry));
  if (entry === undefined) return words;
  if (entry.metal !== undefined && entry.metal !== "steel") words.push(entry.metal);
  if (entry.repainted === true) words.push("repainted");
  if (entry.agreed !== undefined && entry.agreed !== null) words.push("agreed");
  if (countedHow(entry) === "sample") words.push("sample squares");
  return words.map(String);
}

/* Push is what everybody expects, so only the rest is said, and what a plan has chosen. An open
   panel says so from the start, since a line that comes later would move the drawing under the
   finger. */
function reachedWords(app, name, entry) {
  const access = accessOf(entry);
  if (access !== "plan") return access === "push" ? [] : [access];
  if (countedHow(entry) === null) return app.open === name ? ["planned"] : [];
  const planned = plannedPanel(app, name);
  return [planned === undefined ? "planned" : `planned: ${app.words.methods[planned.method]}`];
}

function plannedPanel(app, name) {
  return app.sheet?.evidence.plan?.panels.find(({ panel }) => panel === name);
}

function editor(app, name) {
  const at = ["panels", name];
  const way = wayOf(app, name);
  const access = accessOf(app.value(at));
  const replacing = access === "replace";
  return [
    wayField(app, name, way),
    countingFields(app, name, way),
    el("div", { class: "how" },
      choiceField(app, { path: [...at, "access"], label: "Access", options: ACCESS,
        class: "long-first", now: access, onchange: (chosen) => changeAccess(app, name, chosen) }),
      choiceField(app, { path: [...at, "metal"], label: "Metal", options: METALS, first: "steel" }),
      tickField(app, { path: [...at, "repainted"], label: "Repainted" })),
    replacing ? el("div", { class: "grid" }, replacementFields(app, at)) : null,
    access === "plan" ? replacementFold(app, at) : null,
    way === "sizes" ? marksFold(app, name) : null,
    way === "sizes" || way === "sample" ? oversizeFold(app, name) : null,
    priceFields(app, at, replacing),
    editorButtons(app, name),
  ];
}

function currency(app) {
  return app.matrix === null ? null : app.matrix.matrix.currency;
}

function replacementFields(app, at) {
  return [
    textField(app, { path: [...at, "replace_cost"], label: "Price of the replacement",
      kind: "money", suffix: currency(app) }),
    textField(app, { path: [...at, "replace_minutes"], label: "Minutes of the replacement",
      kind: "decimal" }),
  ];
}

function replacementFold(app, at) {
  const given = ["replace_cost", "replace_minutes"].some((key) => app.value([...at, key]));
  return el("details", { class: "fold inner", "data-fold": "replacement", open: given },
    el("summary", {}, el("strong", {}, "Replacement"), " ",
      el("span", { class: "soft" }, "its price and minutes, for the plan to weigh")),
    el("div", { class: "grid" }, replacementFields(app, at)));
}

function changeAccess(app, name, access) {
  // Figures that belong to no replacement would stay in the claim unseen.
  if (!["replace", "plan"].includes(access)) {
    for (const key of ["replace_cost", "replace_minutes"]) app.set(["panels", name, key], undefined);
  }
  drawPanels(app);
  app.showProblems();
  headingOf(name).closest("li").querySelector(`.choice input[value="${access}"]`).focus();
}

/* ---- ways of counting ---- */

/** How a panel is counted: as what is on it says, else as the last one was. */
function wayOf(app, name) {
  const entry = app.value(["panels", name]);
  return countedHow(entry) ?? (hasOwnOutline(entry) ? "sizes" : app.preferences.counting);
}

/** The choice between sizes and drawing, where there is one. */
function wayField(app, name, way) {
  const entry = app.value(["panels", name]);
  if (!WAYS.some(([each]) => each === way) || hasOwnOutline(entry)) return null;
  const called = freshId("way");
  const group = el("fieldset", { class: "choice way" }, el("legend", {}, "Count"));
  group.append(el("div", { class: "segments" }, WAYS.map(([value, words]) => el("label", {},
    el("input", {
      type: "radio", name: called, value, checked: value === way,
      onchange: ({ target }) => {
        // What is counted decides, and only once it is agreed what becomes of it.
        for (const input of group.querySelectorAll("input")) input.checked = input.value === way;
        changeWay(app, name, target.value);
      },
    }), el("span", {}, words)))));
  return group;
}

function changeWay(app, name, way) {
  const entry = app.value(["panels", name]);
  const dents = dentsOn(entry);
  const label = labelOf(app, name);
  if (countedHow(entry) === null) takeWay(app, name, way);
  else if (way === "drawing") {
    app.question({
      title: `Count ${label} on the drawing?`,
      text: `The counts by size (${several(dents, "dent")}) have no places, so they cannot be shown `
        + "on the drawing, and a panel is counted one way. They are taken out of the claim; Undo "
        + "brings them back.",
      no: "Keep the counts", yes: "Take them out",
      run: () => withUndo(app, name, `The counts by size of ${label} are taken out.`, () => {
        for (const key of ["tally", "marked", "oversize"]) app.set(["panels", name, key], undefined);
        takeWay(app, name, way);
      }),
    });
  } else {
    app.question({
      title: `Count ${label} by size?`,
      text: `${several(dents, "dent")} on the drawing become counts by size with the marks that you `
        + "gave them. Their places are lost, and with them the marks that zones give; Undo brings "
        + "them back.",
      no: "Keep the drawing", yes: "Count by size",
      run: () => withUndo(app, name, `The places of dents on ${label} are taken out.`, () => {
        const counts = talliedFrom(app, entry.dents);
        app.set(["panels", name, "dents"], undefined);
        for (const [key, value] of Object.entries(counts)) app.set(["panels", name, key], value);
        takeWay(app, name, way);
      }),
    });
  }
}

function takeWay(app, name, way) {
  app.prefer("counting", way);
  headingOf(name).closest("li").querySelector(`.way input[value="${way}"]`)?.focus();
}

/** Single dents as a tally: what is larger than every column is oversize. */
function talliedFrom(app, dents) {
  const counts = {};
  const count = (sizes, size) => ({ ...sizes, [size]: (sizes?.[size] ?? 0) + 1 });
  for (const dent of dents) {
    const marks = dent.marks ?? [];
    const column = columnFor(app, longest(dent));
    if (column === null) {
      const oversize = { mm: longest(dent), ...(marks.length > 0 ? { marks } : {}) };
      counts.oversize = [...(counts.oversize ?? []), oversize];
      continue;
    }
    counts.tally = count(counts.tally, column);
    for (const mark of marks) {
      counts.marked = { ...counts.marked, [mark]: count(counts.marked?.[mark], column) };
    }
  }
  return counts;
}

/** Change a panel, and offer to put it back as it was. */
function withUndo(app, name, words, change) {
  const before = structuredClone(app.value(["panels", name]));
  const position = app.draft.panels.findIndex((entry) => entry.panel === name);
  change();
  app.offerUndo(words, () => putBack(app, name, before, position));
}

/** Put a panel back; what was counted on it since gives way. */
function putBack(app, name, entry, position) {
  app.draft.panels = app.draft.panels.filter((panel) => panel.panel !== name);
  app.draft.panels.splice(position, 0, entry);
  app.edited();
  drawPanels(app);
}

function countingFields(app, name, way) {
  const at = ["panels", name];
  if (way === "drawing") return drawingFields(app, name, labelOf(app, name));
  if (way === "single") return singleDents(app, at);
  if (way === "sample" || way === "own") {
    return el("p", { class: "marked-note kept", "data-panel": name });
  }
  const columns = sizesOf(app, name);
  if (columns.length === 0) {
    return el("p", {}, "There are no sizes to count in yet: choose a matrix.");
  }
  return el("div", { class: "sizes" }, columns.map(({ size, hint }) => countField(app, {
    path: [...at, "tally", size], size, hint, panel: labelOf(app, name),
  })));
}

/** A way of counting that the page has no editor for: it is kept as it is, and priced. */
function updateKept(app) {
  const note = byId("panels").querySelector(".kept");
  if (note === null) return;
  const name = note.dataset.panel;
  const entry = app.value(["panels", name]);
  const kept = "They are kept as they are and priced.";
  if (countedHow(entry) !== "sample") {
    const on = hasOwnOutline({ outline: entry.outline })
      ? "on the shop's own outline" : "with the shop's own zones";
    say(note, `Counted ${on}: ${several(dentsOn(entry), "dent")}. ${kept}`);
    return;
  }
  const { squares = [], side_mm: side } = entry.sample;
  const sample = sampleAsPriced(app, name);
  const about = sample === undefined ? ""
    : ` About ${several(sample.estimate, "dent")}, between ${sample.interval.join(" and ")}.`;
  say(note, `Counted by sample squares: ${several(squares.length, "square")} of ${side} mm.${about} `
    + kept);
}

/** How many dents a sampled panel has about, once the server has said. */
function aboutSampled(app, name) {
  const sample = sampleAsPriced(app, name);
  return sample === undefined ? "" : `about ${several(sample.estimate, "dent")}`;
}

function sampleAsPriced(app, name) {
  if (app.sheet === null) return undefined;
  return app.sheet.evidence.counts.find(({ panel }) => panel === name)?.sample;
}

/** The matrix's columns, and whatever else the panel's tally names. */
function sizesOf(app, name) {
  const columns = (app.matrix?.matrix.columns ?? []).map((size) => ({
    size, hint: `to ${diameter(app, size)} mm`,
  }));
  const known = new Set(columns.map(({ size }) => size));
  const tally = app.value(["panels", name, "tally"]) ?? {};
  const others = Object.keys(tally).filter((size) => !known.has(size)).map((size) => ({
    size, hint: otherSizeHint(app, size),
  }));
  return [...columns, ...others];
}

function otherSizeHint(app, size) {
  const mm = diameter(app, size);
  if (mm === null) return "not a size of this matrix";
  const column = columnFor(app, Number(mm));
  return column === null ? `${mm} mm: larger than every column` : `${mm} mm, counts as ${column}`;
}

function singleDents(app, at) {
  const dents = app.value([...at, "dents"]);
  if (dents.length > SINGLE_DENTS_SHOWN) {
    return el("p", {}, `${dents.length} dents, measured singly: too many to show here.`);
  }
  return el("div", {},
    el("p", { class: "soft" }, "Measured singly; the longer axis counts."),
    listField(app, {
      path: [...at, "dents"], label: "dent", add: "Add a dent", blank: {},
      row: (place, position) => dentRow(app, place, position, true),
    }));
}

function dentRow(app, at, position, twoAxes) {
  const name = `dent ${position + 1}`;
  return el("div", { class: "dent" },
    textField(app, { path: [...at, "mm"], label: "mm", name: `millimetres of ${name}`,
      kind: "number" }),
    twoAxes ? textField(app, { path: [...at, "mm2"], label: "across, mm",
      name: `second axis of ${name}`, kind: "number" }) : null,
    ticksField(app, { path: [...at, "marks"], label: `Marks of ${name}`, options: MARKS }));
}

function oversizeFold(app, name) {
  const path = ["panels", name, "oversize"];
  return el("details", { class: "fold inner", "data-fold": "oversize",
    open: app.value(path) !== undefined },
  el("summary", {}, el("strong", {}, "Oversize dents"), " ",
    el("span", { class: "soft" }, largerThan(app))),
  listField(app, {
    path, label: "oversize dent", add: "Add an oversize dent", blank: {},
    row: (at, position) => dentRow(app, at, position, false),
  }));
}

function marksFold(app, name) {
  const fold = el("details", { class: "fold inner", "data-fold": "marks", "data-panel": name },
    el("summary", {}, el("strong", {}, "Marks"), " ", el("span", { class: "soft" })),
    el("div", { class: "marks" }));
  drawMarks(app, fold);
  return fold;
}

/** Sizes that can be marked: those counted, and those marked by mistake. */
function markableSizes(app, name) {
  const marked = Object.values(app.value(["panels", name, "marked"]) ?? {});
  return sizesOf(app, name).map(({ size }) => size).filter((size) => (
    countOf(app.value(["panels", name, "tally", size])) > 0
      || marked.some((sizes) => Object.hasOwn(sizes, size))
  ));
}

function drawMarks(app, fold) {
  const { panel } = fold.dataset;
  const sizes = markableSizes(app, panel);
  fold.dataset.sizes = JSON.stringify(sizes);
  fill(fold.querySelector(".marks"), sizes.length === 0
    ? el("p", { class: "soft" }, "Count dents first; then say how many of them are marked.")
    : MARKS.map(([mark, words]) => el("fieldset", {}, el("legend", {}, `How many ${words}`),
      el("div", { class: "marked" }, sizes.map((size) => textField(app, {
        path: ["panels", panel, "marked", mark, size], label: size, name: `${size} ${words}`,
        kind: "count", placeholder: "0",
      }))))));
}

/** The fold of marks follows the counts: a size is there once a dent of it is counted. */
function updateMarks(app) {
  const fold = byId("panels").querySelector('[data-fold="marks"]');
  if (fold === null) return;
  const { panel, sizes } = fold.dataset;
  if (!fold.contains(document.activeElement)
      && sizes !== JSON.stringify(markableSizes(app, panel))) drawMarks(app, fold);
  const marked = app.value(["panels", panel, "marked"]) ?? {};
  const said = MARKS.map(([mark, words]) => {
    const sum = Object.values(marked[mark] ?? {}).reduce((all, count) => all + countOf(count), 0);
    return sum === 0 ? null : `${sum} ${words}`;
  }).filter((text) => text !== null);
  say(fold.querySelector("summary .soft"),
    said.join(", ") || "behind a brace, glue only, body line, sharp, edge");
}

function priceFields(app, at, replacing) {
  const agreed = app.value([...at, "agreed"]);
  return el("div", { class: "grid" },
    textField(app, { path: [...at, "note"], label: "Note, printed on the sheet" }),
    // A replaced panel has no agreed price; one that is there must be seen to be taken out.
    replacing && (agreed === undefined || agreed === null) ? null
      : textField(app, { path: [...at, "agreed"], label: "Agreed price of the repair",
        kind: "money", suffix: currency(app) }));
}

function editorButtons(app, name) {
  const names = panelNames(app);
  const next = names[names.indexOf(name) + 1];
  return el("div", { class: "tools ends" },
    el("button", { type: "button", class: "quiet", onclick: () => clearPanel(app, name) },
      "Clear this panel"),
    next === undefined
      ? el("button", { type: "button", class: "strong", onclick: () => openPanel(app, null) }, "Done")
      : el("button", { type: "button", class: "strong", onclick: () => openPanel(app, next) },
        `Next: ${labelOf(app, next)}`));
}

/** Take a panel out, with a way back: a slip of the thumb must not cost a count. */
function clearPanel(app, name) {
  const position = app.draft.panels.findIndex((entry) => entry.panel === name);
  if (position < 0) return;
  const [entry] = app.draft.panels.splice(position, 1);
  app.edited();
  drawPanels(app);
  app.offerUndo(`${labelOf(app, name)} is cleared.`, () => putBack(app, name, entry, position));
}

/* Counting on a drawing of the panel: a tap is a dent of the size at hand, at that place.
 *
 * Places are mm from the lower left corner of the panel's box, x to the right and y up, sizes
 * mm; the drawing's own y runs down. What is drawn follows from the draft alone, so an edit from
 * anywhere (a tap, the list, an undo) changes the draft and lets `updateDrawing` catch up. Zones
 * are only shown: which dents they mark is the server's to say.
 */

import { byId, el, fill, freshId, redraw, say, several, svg } from "./dom.js";
import { register, textField, ticksField } from "./fields.js";
import { givenSizes, outlinesFor } from "./outlines.js";
import { MARKS, columnFor, columnsOf, diameter, largerThan, longest } from "./sizes.js";

/* Lengths on the screen, in CSS pixels. */
/* How near to a dent a tap means that dent: less where the panel is small, or close dents could
   not be told apart. */
const TOUCH = { whole: 10, larger: 14 };
const SNAP = 12;
const MOST_PER_MM = 1.6;
const LEAST_HEIGHT = 240;

const MARGIN_MM = 16;
const MOST_UNDONE = 100;
const ROWS = 40;

/* Where one stands and where the front of the vehicle is, by the panel's frame. */
const FROM_ABOVE = ["hood", "roof", "decklid"];
const FROM_BEHIND = ["liftgate", "tailgate"];

/** What the page remembers of drawings beside the claim. */
export function newDrawing() {
  return {
    panel: null, chosen: null, moving: false, zoom: 0, rows: ROWS, view: null,
    size: null, other: "", undo: new Map(),
  };
}

/** The drawing of a panel with all that belongs to it. */
export function drawingFields(app, name, label) {
  const state = app.drawing;
  if (state.panel !== name) {
    Object.assign(state, { panel: name, chosen: null, zoom: 0, rows: ROWS });
  }
  state.moving = false;
  state.view = null;
  const at = ["panels", name, "dents"];
  const holder = el("div", { class: "drawing", "data-panel": name, "data-label": label },
    sizeChooser(app),
    el("p", { class: "drawing-said", hidden: true }),
    el("div", { class: "drawn" },
      el("p", { class: `front front-${frontOf(name).side}` }, frontOf(name).sign),
      el("div", { class: "sheet", role: "group",
        "aria-label": `Drawing of ${label}; its dents are listed below` }),
      tools(app, name),
      el("div", { class: "chosen" }),
      el("p", { class: "as-priced" }),
      el("div", { class: "legend" }),
      el("p", { class: "soft about" })),
    el("div", { class: "drawing-problem" }),
    el("details", { class: "fold inner", "data-fold": "dents", ontoggle: () => updateRows(app) },
      el("summary", {}, el("strong", {}, "Dents one by one"), " ", el("span", { class: "soft" })),
      el("p", { class: "soft" }, "x from the left, y from the bottom of the outline, in mm."),
      el("ol", { class: "places" }),
      el("div", { class: "tools" },
        el("button", { type: "button", class: "add", onclick: () => addInTheMiddle(app, name) },
          "Add a dent"),
        el("button", { type: "button", class: "more-rows", hidden: true,
          onclick: () => { state.rows += ROWS; updateRows(app); } }, "Show more"))));
  register(app, at, holder.querySelector(".add"), "dents", holder.querySelector(".drawing-problem"));
  for (const part of [holder.querySelector(".chosen"), holder.querySelector(".places")]) {
    // Before a field writes what is typed, so that Undo has what was there.
    part.addEventListener("input", ({ target }) => remember(app, name, target), true);
  }
  followWidth(app, holder);
  return holder;
}

function followWidth(app, holder) {
  let width = 0;
  const resized = new ResizeObserver(() => requestAnimationFrame(() => {
    if (!holder.isConnected) resized.disconnect();
    else if (holder.clientWidth !== width) {
      width = holder.clientWidth;
      updateDrawing(app);
    }
  }));
  resized.observe(holder);
}

/* ---- what stands where --------------------------------------------------------------------- */

function frontOf(name) {
  if (FROM_ABOVE.includes(name)) return { side: "top", sign: "front ↑", from: "from above" };
  if (FROM_BEHIND.includes(name)) return { side: "none", sign: "", from: "from behind" };
  return /-(r|fr|rr)$/.test(name)
    ? { side: "right", sign: "front →", from: "from the right of the vehicle" }
    : { side: "left", sign: "← front", from: "from the left of the vehicle" };
}

function dentsOf(app, name) {
  return app.value(["panels", name, "dents"]) ?? [];
}

function sizeWords(app, dent) {
  const mm = longest(dent);
  if (!(mm > 0)) return "no size yet";
  const column = columnFor(app, mm);
  if (column !== null) return `${column}, ${mm} mm`;
  return [`${mm} mm`, largerThan(app)].filter(Boolean).join(", ");
}

/* ---- the size at hand ---------------------------------------------------------------------- */

function sizeChooser(app) {
  const state = app.drawing;
  const columns = columnsOf(app);
  const known = state.size === "other" || columns.some(({ size }) => size === state.size);
  // Until a matrix has come there are millimetres only.
  if (!known) state.size = columns[0]?.size ?? null;
  const name = freshId("size");
  const choice = (size, words) => el("label", { "data-size": size },
    el("input", {
      type: "radio", name, value: size, checked: (state.size ?? "other") === size,
      "aria-label": size === "other" ? "another size" : size,
      onchange: () => { state.size = size; showOther(); },
    }),
    el("span", {}, el("strong", {}, size), el("small", {}, words), el("b", { class: "number" })));
  const millimetres = el("input", {
    id: freshId("field"), type: "text", inputmode: "decimal", autocomplete: "off", maxlength: "6",
    value: state.other,
    oninput: () => { state.other = millimetres.value; say(problem, ""); problem.hidden = true; },
  });
  const problem = el("p", { class: "problem", hidden: true, role: "status" });
  const other = el("div", { class: "field other-size" },
    el("label", { for: millimetres.id }, "Longest axis, mm"), millimetres, problem);
  const showOther = () => { other.hidden = (state.size ?? "other") !== "other"; };
  showOther();
  return el("fieldset", { class: "hand" }, el("legend", {}, "Size of the next dents, mm"),
    el("div", { class: "segments sizes-at-hand" },
      columns.map(({ size }) => choice(size, diameter(app, size))),
      choice("other", "any mm")),
    other);
}

/** The size at hand in mm; null, and said so, if none is. */
function sizeAtHand(app) {
  const { size, other, view } = app.drawing;
  if ((size ?? "other") !== "other") return Number(diameter(app, size));
  const mm = Number(other.trim().replace(",", "."));
  if (mm > 0 && mm <= 500) return mm;
  const field = view.holder.querySelector(".other-size");
  const problem = field.querySelector(".problem");
  problem.hidden = false;
  say(problem, "give the size first, more than 0 and at most 500 mm");
  field.querySelector("input").focus();
  return null;
}

/** How many dents of each size there are, on the buttons that choose it. */
function updateCounts(app, holder, dents) {
  const counts = new Map();
  for (const dent of dents) {
    const column = columnFor(app, longest(dent)) ?? "other";
    counts.set(column, (counts.get(column) ?? 0) + 1);
  }
  for (const choice of holder.querySelectorAll(".sizes-at-hand label")) {
    const count = counts.get(choice.dataset.size) ?? 0;
    const other = choice.dataset.size === "other";
    const larger = count > 0 ? `${count} larger` : "";
    say(choice.querySelector(".number"), other ? larger : String(count));
    const called = other ? "another size" : choice.dataset.size;
    choice.querySelector("input")
      .setAttribute("aria-label", `${called}, ${several(count, "dent")}`);
  }
}

/* ---- tools --------------------------------------------------------------------------------- */

function tools(app, name) {
  const button = (className, words, run) => el("button", {
    type: "button", class: className, onclick: run,
  }, words);
  return el("div", { class: "tools drawing-tools" },
    button("undo", "Undo", () => undo(app, name)),
    button("smaller", "Smaller", () => zoom(app, -1)),
    button("larger", "Larger", () => zoom(app, 1)));
}

/** Keep the dents as they are now for Undo; once for all that is typed into one field. */
function remember(app, name, by = null) {
  const steps = app.drawing.undo.get(name) ?? [];
  if (by !== null && steps.at(-1)?.by === by) return;
  steps.push({ dents: structuredClone(app.value(["panels", name, "dents"])), by });
  app.drawing.undo.set(name, steps.slice(-MOST_UNDONE));
}

function undo(app, name) {
  const step = app.drawing.undo.get(name)?.pop();
  if (step === undefined) return;
  app.drawing.chosen = null;
  app.drawing.moving = false;
  app.set(["panels", name, "dents"], step.dents);
  const button = app.drawing.view?.holder.querySelector(".undo");
  // A disabled button would drop the keyboard's focus on the floor.
  if (button?.disabled) app.drawing.view.holder.querySelector(".larger").focus();
  app.speak(`Undone: ${several(dentsOf(app, name).length, "dent")}`);
}

function zoom(app, by) {
  const { view } = app.drawing;
  if (view === null) return;
  const { sheet } = view;
  // What is in the middle stays in the middle.
  const middle = app.drawing.chosen === null
    ? [(sheet.scrollLeft + sheet.clientWidth / 2) / sheet.scrollWidth,
      (sheet.scrollTop + sheet.clientHeight / 2) / sheet.scrollHeight]
    : shareOf(view, dentsOf(app, view.name)[app.drawing.chosen]);
  app.drawing.zoom = Math.max(0, app.drawing.zoom + by);
  updateDrawing(app);
  sheet.scrollLeft = middle[0] * sheet.scrollWidth - sheet.clientWidth / 2;
  sheet.scrollTop = middle[1] * sheet.scrollHeight - sheet.clientHeight / 2;
  sheet.scrollIntoView({ block: "center" });
  const { holder } = view;
  const [smaller, larger] = [".smaller", ".larger"].map((each) => holder.querySelector(each));
  if (by > 0 && larger.disabled) smaller.focus();
  if (by < 0 && smaller.disabled) larger.focus();
}

/** Where a dent is in the drawing, as shares of its width and height. */
function shareOf(view, { x, y }) {
  return [(x + MARGIN_MM) / (view.width + 2 * MARGIN_MM),
    (view.height - y + MARGIN_MM) / (view.height + 2 * MARGIN_MM)];
}

/* ---- taps ---------------------------------------------------------------------------------- */

function tapped(app, event) {
  const { view, moving, chosen } = app.drawing;
  const { name, label } = view;
  const box = view.svg.getBoundingClientRect();
  const tap = {
    x: (event.clientX - box.left) / view.scale - MARGIN_MM,
    y: view.height + MARGIN_MM - (event.clientY - box.top) / view.scale,
  };
  const near = moving ? null : dentNear(app, view, tap);
  const place = near === null ? placeOn(view, tap) : null;
  if (near !== null) {
    choose(app, near === chosen ? null : near);
    view.holder.querySelector(".chosen").scrollIntoView({ block: "nearest" });
  } else if (place === null) {
    choose(app, null);
    app.speak(`Beside ${label}`);
  } else if (moving) move(app, name, chosen, place);
  else add(app, name, place);
}

function dentNear(app, view, { x, y }) {
  const reach = TOUCH[app.drawing.zoom === 0 ? "whole" : "larger"] / view.scale;
  let nearest = null;
  let least = Infinity;
  dentsOf(app, view.name).forEach((dent, position) => {
    const distance = Math.hypot(dent.x - x, dent.y - y);
    if (distance <= Math.max(radius(view, dent), reach) && distance < least) {
      nearest = position;
      least = distance;
    }
  });
  return nearest;
}

/** The place of a tap in whole mm: on the panel, or on its border if a finger just missed it. */
function placeOn(view, { x, y }) {
  const whole = ([left, up]) => ({ x: Math.round(left), y: Math.round(up) });
  if (view.outline.isPointInFill(new DOMPoint(x, view.height - y))) return whole([x, y]);
  const [place, distance] = nearestOnRing(view.ring, [x, y]);
  return distance * view.scale <= SNAP ? whole(place) : null;
}

function nearestOnRing(ring, [x, y]) {
  let best = [ring[0], Infinity];
  ring.forEach(([x1, y1], position) => {
    const [x2, y2] = ring[(position + 1) % ring.length];
    const square = (x2 - x1) ** 2 + (y2 - y1) ** 2;
    const along = square === 0 ? 0 : ((x - x1) * (x2 - x1) + (y - y1) * (y2 - y1)) / square;
    const share = Math.min(1, Math.max(0, along));
    const place = [x1 + share * (x2 - x1), y1 + share * (y2 - y1)];
    const distance = Math.hypot(place[0] - x, place[1] - y);
    if (distance < best[1]) best = [place, distance];
  });
  return best;
}

function add(app, name, place) {
  const mm = sizeAtHand(app);
  if (mm === null) return null;
  const position = dentsOf(app, name).length;
  remember(app, name);
  app.drawing.chosen = null;
  app.set(["panels", name, "dents", position], { mm, ...place });
  app.speak(`${sizeWords(app, { mm })}; ${several(position + 1, "dent")}`);
  return position;
}

function move(app, name, position, place) {
  remember(app, name);
  app.drawing.moving = false;
  app.set(["panels", name, "dents", position], { ...dentsOf(app, name)[position], ...place });
  app.speak(`Dent ${position + 1} moved`);
}

function removeDent(app, name, position) {
  remember(app, name);
  app.drawing.chosen = null;
  app.drawing.moving = false;
  app.set(["panels", name, "dents", position], undefined);
  app.speak(`Removed; ${several(dentsOf(app, name).length, "dent")}`);
}

/** Choose a dent to say more of it, or none. */
function choose(app, position) {
  app.drawing.chosen = position;
  app.drawing.moving = false;
  updateDrawing(app);
}

/** Choose a dent that something leads to, and bring it into view. */
export function showDent(app, name, position) {
  if (app.drawing.panel !== name || dentsOf(app, name)[position] === undefined) return;
  choose(app, position);
  if (app.drawing.view === null) return;
  const { sheet, holder } = app.drawing.view;
  const [across, down] = shareOf(app.drawing.view, dentsOf(app, name)[position]);
  sheet.scrollLeft = across * sheet.scrollWidth - sheet.clientWidth / 2;
  sheet.scrollTop = down * sheet.scrollHeight - sheet.clientHeight / 2;
  holder.querySelector(".chosen select").focus();
}

/* By keyboard there is no tap: the dent comes into the middle, and its fields say where it is. */
function addInTheMiddle(app, name) {
  const { view } = app.drawing;
  if (view === null) return;
  const position = add(app, name, {
    x: Math.round(view.width / 2), y: Math.round(view.height / 2),
  });
  if (position === null) return;
  app.drawing.rows = Math.max(app.drawing.rows, position + 1);
  updateRows(app);
  view.holder.querySelectorAll(".places > li")[position].querySelector("input").focus();
}

/* ---- drawing ------------------------------------------------------------------------------- */

/** Bring the open drawing, if there is one, up to date with the draft. */
export function updateDrawing(app) {
  const holder = byId("panels").querySelector(".drawing");
  if (holder === null) return;
  const name = holder.dataset.panel;
  const dents = dentsOf(app, name);
  if (app.drawing.chosen !== null && dents[app.drawing.chosen] === undefined) {
    Object.assign(app.drawing, { chosen: null, moving: false });
  }
  updateCounts(app, holder, dents);
  const outlines = outlinesFor(app);
  const panel = outlines?.panels?.[name];
  const why = panel === undefined ? whyNoDrawing(outlines, holder.dataset.label) : "";
  say(holder.querySelector(".drawing-said"), why);
  holder.querySelector(".drawing-said").hidden = why === "";
  holder.querySelector(".drawn").hidden = why !== "";
  holder.querySelector(".add").disabled = why !== "";
  if (panel === undefined) app.drawing.view = null;
  else {
    drawPanel(app, holder, outlines, panel);
    fit(app.drawing.view, app.drawing);
    drawDents(app, dents);
  }
  updateChosen(app, holder, name, dents);
  updateAsPriced(app, holder, name, dents);
  updateTools(app, holder, name);
  updateRows(app);
}

function whyNoDrawing(outlines, label) {
  if (outlines === null) return "The drawing comes as soon as the server is reached.";
  if (outlines.refused !== undefined) return `There is no drawing: ${outlines.refused}`;
  return `There is no drawing of ${label} on this body.`;
}

function drawPanel(app, holder, outlines, panel) {
  const name = holder.dataset.panel;
  const shows = JSON.stringify([name, { ...outlines, panels: null }, panel]);
  if (app.drawing.view?.holder === holder && app.drawing.view.shows === shows) return;
  const { ring, zones } = panel;
  const width = Math.max(...ring.map(([x]) => x));
  const height = Math.max(...ring.map(([, y]) => y));
  const path = pathOf(ring, height, true);
  const outline = svg("path", { d: path, class: "outline" });
  const dents = svg("g", {});
  const drawn = svg("svg", {
    "aria-hidden": "true",
    viewBox: `${-MARGIN_MM} ${-MARGIN_MM} ${width + 2 * MARGIN_MM} ${height + 2 * MARGIN_MM}`,
    onclick: (event) => tapped(app, event),
  },
  svg("defs", {},
    [...HATCHES.keys()].map((kind) => svg("pattern", { id: `zone-${kind}`, href: `#hatch-${kind}` })),
    svg("clipPath", { id: "within-panel" }, svg("path", { d: path }))),
  svg("path", { d: path, class: "metal" }),
  svg("g", { "clip-path": "url(#within-panel)" }, zones.map((zone) => drawnZone(zone, path, height))),
  outline, dents);
  const sheet = holder.querySelector(".sheet");
  fill(sheet, drawn);
  app.drawing.view = {
    holder, shows, name, label: holder.dataset.label, sheet, svg: drawn, outline, dents, ring, width,
    height, scale: 1,
  };
  fill(holder.querySelector(".legend"), legend(zones));
  say(holder.querySelector(".about"), aboutDrawing(app, outlines, width, height, name));
}

function aboutDrawing(app, outlines, width, height, name) {
  const { body, length_mm: long, width_mm: wide, height_mm: high } = outlines;
  const typical = givenSizes(app.draft).length === 3 ? "" : ", a typical size where the claim gives "
    + "none: see More about claim and vehicle";
  return `Seen ${frontOf(name).from}: a generic outline, ${width} × ${height} mm, for a ${body} of `
    + `${long} × ${wide} × ${high} mm${typical}. A dent with a white point has marks of its own.`;
}

function pathOf(points, height, closed) {
  return `M${points.map(([x, y]) => `${x} ${height - y}`).join("L")}${closed ? "Z" : ""}`;
}

function drawnZone({ kind, form, points, reach_mm: reach }, border, height) {
  const d = form === "border" ? border : pathOf(points, height, form === "area");
  if (kind === "body-line") return svg("path", { d, class: "body-line", "data-zone": kind });
  const hatch = `url(#zone-${kind})`;
  return form === "area"
    ? svg("path", { d, fill: hatch, class: "zone", "data-zone": kind })
    : svg("path", { d, stroke: hatch, "stroke-width": 2 * reach, fill: "none", "data-zone": kind });
}

/* Hatches told apart by pattern, in pixels of the screen at every zoom. */
const HATCHES = new Map([
  ["braced", [6, "M-1 7L7 -1M-1 1L1 -1M5 7L7 5"]],
  ["glue-only", [7, "M0 0L7 7M7 0L0 7"]],
  ["edge", [4, "M-1 -1L5 5M3 -1L5 1M-1 3L1 5"]],
]);

/** What came of zones and marks, by the last price; the text stays while the next one is made. */
function updateAsPriced(app, holder, name, dents) {
  const line = holder.querySelector(".as-priced");
  if (dents.length === 0) {
    say(line, "Tap the panel where a dent is; tap a dent to mark, move or remove it.");
  } else if (app.sheet === null) say(line, "");
  if (dents.length === 0 || !app.fresh) return;
  const marked = app.sheet.evidence.counts.find(({ panel }) => panel === name)?.marked ?? {};
  const words = MARKS.filter(([mark]) => marked[mark] > 0).map(([mark, each]) => `${marked[mark]} ${each}`);
  say(line, `As priced: ${words.join(", ") || "no dent marked"}.`);
}

/** What is hatched how; the patterns that the drawing uses are made here. */
function legend(zones) {
  const kinds = MARKS.filter(([kind]) => zones.some((zone) => zone.kind === kind));
  const patterns = [...HATCHES].map(([kind, [side, d]]) => svg("pattern", {
    id: `hatch-${kind}`, width: side, height: side, patternUnits: "userSpaceOnUse",
  }, svg("path", { d, class: "hatch" })));
  return [
    svg("svg", { width: 0, height: 0, "aria-hidden": "true", class: "patterns" },
      svg("defs", {}, patterns)),
    kinds.length === 0 ? null : el("p", { class: "soft" },
      "The price takes dents in these zones as marked:"),
    el("ul", {}, kinds.map(([kind, words]) => el("li", {}, swatch(kind), el("span", {}, words)))),
  ];
}

function swatch(kind) {
  return svg("svg", { width: 34, height: 20, viewBox: "0 0 34 20", "aria-hidden": "true" },
    svg("rect", { x: 0.5, y: 0.5, width: 33, height: 19, class: "metal-swatch" }),
    kind === "body-line"
      ? svg("path", { d: "M1 10H33", class: "body-line" })
      : svg("rect", { x: 0.5, y: 0.5, width: 33, height: 19, fill: `url(#hatch-${kind})` }));
}

/** Set the drawing's size on the screen: the whole panel, or larger than the box it scrolls in. */
function fit(view, state) {
  const { holder, sheet } = view;
  holder.classList.toggle("large", state.zoom > 0);
  const [across, up] = [view.width + 2 * MARGIN_MM, view.height + 2 * MARGIN_MM];
  const room = sheet.clientWidth;
  if (room === 0) return; // folded away
  const high = Math.max(LEAST_HEIGHT, Math.min(window.innerHeight * 0.52, 560));
  const whole = Math.min(Math.min(room, 640) / across, high / up);
  const most = Math.max(MOST_PER_MM, whole);
  const wide = Math.min(room / across, most);
  view.scale = state.zoom === 0
    ? Math.min(room / across, high / up)
    : Math.min(most, Math.max(wide, whole * 2 ** state.zoom));
  view.atMost = view.scale >= most;
  view.svg.setAttribute("width", across * view.scale);
  view.svg.setAttribute("height", up * view.scale);
  for (const pattern of view.svg.querySelectorAll("pattern")) {
    pattern.setAttribute("patternTransform", `scale(${1 / view.scale})`);
  }
  if (state.zoom > 0) {
    sheet.setAttribute("tabindex", "0"); // so that the arrow keys scroll it
  } else sheet.removeAttribute("tabindex");
}

/** The radius that a dent is drawn with, mm: to scale, but never too small to be seen. */
function radius(view, dent) {
  const mm = longest(dent) || 10;
  return Math.max(mm / 2, (2.5 + 0.14 * mm) / view.scale);
}

function drawDents(app, dents) {
  const { view, chosen, moving } = app.drawing;
  const shows = JSON.stringify([dents, view.scale, chosen, moving, view.height]);
  if (view.dentsShown === shows) return;
  view.dentsShown = shows;
  const pixel = 1 / view.scale;
  view.dents.replaceChildren(...dents.map((dent, position) => {
    if (typeof dent.x !== "number" || typeof dent.y !== "number") return ""; // half typed
    const [cx, cy, r] = [dent.x, view.height - dent.y, radius(view, dent)];
    const own = (dent.marks ?? []).length > 0;
    return svg("g", { "data-dent": position, class: position === chosen ? "dent at-hand" : "dent" },
      position === chosen ? svg("circle", { cx, cy, r: r + 6 * pixel, class: "ring" }) : null,
      svg("circle", { cx, cy, r, class: "spot" }),
      own ? svg("circle", { cx, cy, r: r * 0.4, class: "own" }) : null);
  }));
  view.svg.classList.toggle("moving", moving);
}

/* ---- the chosen dent ----------------------------------------------------------------------- */

function updateChosen(app, holder, name, dents) {
  const box = holder.querySelector(".chosen");
  const { chosen, moving } = app.drawing;
  const dent = chosen === null ? undefined : dents[chosen];
  const which = JSON.stringify([chosen, dents.length, moving]);
  box.hidden = dent === undefined;
  if (dent !== undefined && box.dataset.which === which && box.contains(document.activeElement)) {
    say(box.querySelector("strong + .soft"), sizeWords(app, dent)); // its fields are being used
  } else {
    redraw(box, [which, dent ?? null], () => (
      dent === undefined ? [] : chosenDent(app, name, chosen, dent)));
  }
  box.dataset.which = which;
}

function chosenDent(app, name, position, dent) {
  const at = ["panels", name, "dents", position];
  const called = `dent ${position + 1}`;
  return el("div", { role: "group", "aria-label": `Dent ${position + 1}` },
    el("p", {}, el("strong", {}, `Dent ${position + 1}`), " ",
      el("span", { class: "soft" }, sizeWords(app, dent))),
    sizeOfDent(app, at, called, dent),
    ticksField(app, { path: [...at, "marks"], label: `Marks of ${called}`, options: MARKS }),
    app.drawing.moving ? el("p", { class: "marked-note" }, "Tap where it is.") : null,
    el("div", { class: "tools" },
      el("button", { type: "button", "aria-pressed": String(app.drawing.moving), onclick: () => {
        app.drawing.moving = !app.drawing.moving;
        updateDrawing(app);
        app.drawing.view?.holder.querySelector(".chosen [aria-pressed]").focus();
      } }, "Move"),
      el("button", { type: "button", onclick: () => {
        removeDent(app, name, position);
        app.drawing.view?.holder.querySelector(".undo").focus();
      } }, "Remove"),
      el("button", { type: "button", class: "strong", onclick: () => {
        choose(app, null);
        backToRow(app, position);
      } }, "Done")));
}

/** A dent's size among the coins, its own mm, and the mm at hand. */
function sizeOfDent(app, at, called, dent) {
  const options = columnsOf(app).map(({ size, mm }) => [mm, `${size}, ${mm} mm`]);
  const others = [longest(dent), Number(app.drawing.other.replace(",", "."))];
  for (const mm of others) {
    if (mm > 0 && !options.some(([each]) => each === mm)) options.push([mm, `${mm} mm`]);
  }
  const select = el("select", {
    id: freshId("field"),
    onchange: () => {
      const { mm2, ...rest } = app.value(at); // one size is chosen for both axes
      app.set(at, { ...rest, mm: Number(select.value) });
    },
  }, options.map(([mm, words]) => el("option", { value: String(mm) }, words)));
  select.value = String(longest(dent));
  return el("div", { class: "field" },
    el("label", { for: select.id }, `Size of ${called}`), select);
}

function backToRow(app, position) {
  const { view } = app.drawing;
  if (view === null) return;
  const row = view.holder.querySelectorAll(".places > li")[position];
  (row?.querySelector(".say-more") ?? view.holder.querySelector(".undo")).focus();
}

function updateTools(app, holder, name) {
  const { view, zoom: at, undo: steps } = app.drawing;
  holder.querySelector(".undo").disabled = (steps.get(name) ?? []).length === 0;
  holder.querySelector(".smaller").disabled = at === 0;
  holder.querySelector(".larger").disabled = view === null || view.atMost === true;
}

/* ---- dents one by one ---------------------------------------------------------------------- */

function updateRows(app) {
  const holder = byId("panels").querySelector(".drawing");
  if (holder === null) return;
  const fold = holder.querySelector('[data-fold="dents"]');
  const name = holder.dataset.panel;
  const dents = dentsOf(app, name);
  say(fold.querySelector("summary .soft"),
    dents.length === 0 ? "places and sizes in mm, without tapping" : several(dents.length, "dent"));
  const shown = fold.open ? Math.min(dents.length, app.drawing.rows) : 0;
  const rows = fold.querySelector(".places");
  redraw(rows, [shown, dents.length], () => dents.slice(0, shown)
    .map((_, position) => placeRow(app, name, position)));
  fold.querySelector(".more-rows").hidden = shown === 0 || shown === dents.length;
  for (const input of rows.querySelectorAll("input")) {
    const value = dents[Number(input.dataset.dent)][input.dataset.key];
    const text = value === undefined ? "" : String(value);
    if (input !== document.activeElement && input.value !== text) input.value = text;
  }
}

function placeRow(app, name, position) {
  const at = ["panels", name, "dents", position];
  const called = `dent ${position + 1}`;
  const field = (key, label, what) => textField(app, {
    path: [...at, key], label, kind: "number", name: `${what} of ${called}`,
    "aria-label": `${label} of ${called}${key === "mm" ? "" : ", mm"}`,
    "data-key": key, "data-dent": position,
  });
  return el("li", {},
    el("span", { class: "no" }, String(position + 1)),
    field("x", "x", "place across"), field("y", "y", "place up"), field("mm", "mm", "millimetres"),
    el("div", { class: "row-tools" },
      el("button", { type: "button", class: "quiet say-more", "aria-label": `Marks of ${called}`,
        onclick: () => showDent(app, name, position) }, "Marks"),
      el("button", { type: "button", class: "quiet", "aria-label": `Remove ${called}`,
        onclick: () => {
          removeDent(app, name, position);
          const rows = app.drawing.view?.holder.querySelectorAll(".places > li") ?? [];
          const next = rows[Math.min(position, rows.length - 1)];
          (next?.querySelector(".quiet:last-child")
            ?? app.drawing.view?.holder.querySelector(".add"))?.focus();
        } }, "Remove")));
}

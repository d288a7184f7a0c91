/* What the storms earned: a ranking by the measure that the address names (?by=…), charts, and
 * the figures of each storm.
 *
 * Nothing is computed here: every figure, limit and chance comes from the server, as do the charts,
 * whose titles and descriptions are read out of them.
 */

import { byId, el, fill, say, several } from "./dom.js";
import { Away, NotLetIn, Refused, get, getFile, refusalInWords } from "./server.js";
import { day } from "./standing.js";
import { takeToken, tokenForm } from "./token.js";

const FIRST = "margin";

const NARROW = matchMedia("(max-width: 719px)");

const owner = { words: null, me: null, asked: 0, pictures: [] };

/* ---- what is said --------------------------------------------------------------------------- */

function showNotice(...content) {
  const box = byId("notice");
  box.hidden = false;
  fill(box, content);
  box.scrollIntoView({ block: "nearest" });
}

function askForToken(text) {
  showNotice(tokenForm(text, () => {
    owner.me = null;
    show();
  }));
}

function failed(error) {
  if (error instanceof NotLetIn) {
    askForToken(`${error.message} hailcalc serve prints the address of a page with a token; the `
      + "owner's own is made with hailcalc token add.");
  } else if (error instanceof Refused) {
    showNotice(el("p", {}, refusalInWords(error)));
  } else if (error instanceof Away) {
    showNotice(el("p", {}, error.message),
      el("button", { type: "button", onclick: show }, "Try again"));
  } else throw error;
}

/* ---- figures as text ------------------------------------------------------------------------ */

/** A decimal text with its thousands apart. */
function apart(text) {
  const [whole, rest] = text.replace("-", "−").split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, ",");
  return rest === undefined ? grouped : `${grouped}.${rest}`;
}

const figure = (text) => (text === null ? "none" : apart(String(text)));

const limit = (text) => el("span", { class: "whole" }, text === null ? "never" : figure(text));

/** The limits of a figure as something to read; nothing where it has none. */
function limits({ low, high }) {
  return low === null && high === null ? []
    : [limit(low), " to ", limit(high)];
}

/** How many vehicles the figures are of, and of how many where some have no price. */
function vehiclesOf({ vehicles, priced, aside }) {
  return aside > 0 ? `${apart(String(priced))} priced of ${several(vehicles, "vehicle")}`
    : several(vehicles, "vehicle");
}

/** A figure, and its limits below. */
function withLimits(found) {
  return [el("span", { class: "whole" }, figure(found.value)),
    el("span", { class: "soft" }, limits(found))];
}

/** A chance as the reports write it: never 0 or 100, which no drawing again can know. */
function chance(text) {
  if (text === null) return "no figure";
  if (Number(text) < 0.01) return "under 1 %";
  if (Number(text) > 0.99) return "over 99 %";
  return `${Math.round(Number(text) * 100)} %`;
}

function named(measure, currency) {
  const label = owner.words.storms.measures[measure];
  return measure === "share" ? label : `${label}, ${currency}`;
}

/* ---- the page ------------------------------------------------------------------------------- */

function wanted() {
  const by = new URLSearchParams(location.search).get("by");
  return by !== null && Object.hasOwn(owner.words.storms.measures, by) ? by : FIRST;
}

/** What the address says that other currencies are worth, each as CODE=FIGURE. */
const rates = () => new URLSearchParams(location.search).getAll("rate");

/** What is asked of the server, and stands in the address: the measure and the rates. */
function query(by, given = rates()) {
  return String(new URLSearchParams([["by", by], ...given.map((each) => ["rate", each])]));
}

function goTo(by, given = rates()) {
  history.pushState(null, "", `/storms?${query(by, given)}`);
  show();
}

/** Show the ranking that the address asks for. */
async function show() {
  owner.asked += 1;
  const turn = owner.asked;
  const current = () => turn === owner.asked;
  byId("notice").hidden = true;
  try {
    owner.words ??= await get("/pages/words.json");
    owner.me ??= await get("/v1/token");
    if (!owner.me.scopes.includes("manage")) {
      askForToken("This page is the owner's: what storms earned is shown to an owner's token alone.");
      return;
    }
    const { storms } = await get("/v1/storms");
    if (!current()) return;
    drawChoice();
    drawBroken(storms.filter((each) => each.problems.length > 0));
    if (storms.length === 0) {
      drawNothing(el("p", { class: "card" }, "No storm lies in the server's folder yet."));
      return;
    }
    byId("found").setAttribute("aria-busy", "true");
    const comparison = await compared(storms, current);
    if (comparison !== null && current()) drawComparison(comparison, current);
  } catch (error) {
    if (!current()) return;
    drawNothing();
    failed(error);
  } finally {
    if (current()) byId("found").removeAttribute("aria-busy");
  }
}

/** The comparison; where there can be none, what each storm earned by itself, and why. */
async function compared(storms, current) {
  try {
    return await get(`/v1/storms/comparison?${query(wanted())}`);
  } catch (error) {
    if (!(error instanceof Refused) || !current()) throw error;
    const sound = storms.filter((each) => each.problems.length === 0);
    const others = otherCurrencies(sound);
    drawNothing(others.length > 0 ? rateForm(sound[0].currency, others) : null,
      sound.length === 0 ? null : headlines(sound));
    if (others.length === 0 || rates().length > 0) failed(error);
    return null;
  }
}

/** The currencies of storms that are not in that of the first, in which all are compared. */
function otherCurrencies(storms) {
  return [...new Set(storms.map((each) => each.currency))]
    .filter((code) => code !== storms[0].currency).sort();
}

/** Asks what other currencies are worth; the answer goes into the address. */
function rateForm(first, others) {
  const given = new Map(rates().map((each) => each.split("=")));
  const fields = others.map((code) => ({ code, input: el("input", {
    id: `rate-${code}`, type: "text", inputmode: "decimal", autocomplete: "off", maxlength: 20,
    required: true, pattern: "[0-9]{1,9}([.][0-9]{1,9})?", value: given.get(code) ?? "",
    title: "A figure such as 1.085",
  }) }));
  return el("form", {
    class: "card rates",
    onsubmit: (event) => {
      event.preventDefault();
      goTo(wanted(), fields.map(({ code, input }) => `${code}=${input.value.trim()}`));
    },
  }, el("h2", {}, "Several currencies"),
  el("p", {}, `All is compared in ${first}. At which rate?`),
  fields.map(({ code, input }) => el("div", { class: "field" },
    el("label", { for: input.id }, `1 ${code} is worth, in ${first}`), input)),
  el("button", { type: "submit" }, "Compare"));
}

/** The rates of a comparison, and the way to others. */
function ratesUsed({ currency, rates: used }) {
  const codes = Object.keys(used);
  if (codes.length === 0) return null;
  const change = el("button", { type: "button", onclick: () => {
    change.parentElement.replaceWith(rateForm(currency, codes));
    byId(`rate-${codes[0]}`).focus();
  } }, "Other rates");
  return el("div", { class: "soft" }, el("p", {}, codes
    .map((code) => `1 ${code} = ${used[code]} ${currency}`).join("; ")), change);
}

function headlines(storms) {
  const rows = storms.map(({ title, vehicles, currency, revenue, cost, margin }) => row(
    [title, el("span", { class: "soft" }, several(vehicles, "vehicle"))],
    [[el("span", { class: "whole" }, `${apart(margin)} ${currency}`),
      el("span", { class: "soft" }, `${apart(revenue)} less ${apart(cost)}`)]]));
  return el("section", {}, el("h2", {}, "Each by itself"),
    table("Not compared", ["Storm", "Margin: revenue less cost"], rows, "ranking"));
}

function drawNothing(...content) {
  say(byId("answer"), "");
  fill(byId("found"), content);
}

/* Made once: a list that is made anew would lose the focus of whoever goes through it. */
function drawChoice() {
  const list = byId("by");
  if (list.options.length === 0) {
    fill(list, Object.entries(owner.words.storms.measures).map(([name, label]) => el("option",
      { value: name }, label.replace(/, %$/, ""))));
  }
  list.value = wanted();
  byId("choice").hidden = false;
}

function drawBroken(storms) {
  fill(byId("broken"), storms.map(({ name, problems }) => el("section", { class: "card" },
    el("h2", {}, `${name} cannot be read and is in no figure`),
    el("ul", {}, problems.map(({ file, pointer, found, expected }) => el("li", {},
      `${[file, ...pointer.split("/").slice(1)].join(", ")}: found ${found}, expected ${expected}.`))))));
}

function drawComparison(comparison, current) {
  for (const url of owner.pictures.splice(0)) URL.revokeObjectURL(url);
  const { by, notes, ranking, storms } = comparison;
  const chart = (name) => chartOf(name, by, current);
  say(byId("answer"), comparison.answer);
  fill(byId("found"),
    el("section", {}, el("h2", {}, "Ranking"), rankingTable(comparison),
      notes.map((note) => el("p", { class: "warned" }, note)), ratesUsed(comparison),
      el("p", { class: "soft" }, owner.words.storms.limits
        .replace("{level}", String(comparison.level))
        .replace("{resamples}", apart(String(comparison.resamples)))),
      chart(`measure-${by}`), ranking.length > 1 ? chart("chances") : null),
    el("section", {}, el("h2", {}, "Every measure"), chart("measures")),
    el("section", {}, el("h2", {}, "Days that claims wait"), chart("waits")),
    storms.map((storm, at) => el("section", { class: "storm" },
      el("h2", {}, storm.title), aboutStorm(storm),
      el("div", { class: "sides" }, broughtIn(storm), spent(storm),
        measuresTable(ranking[at], storm, comparison)),
      chart(`${storm.storm}-waterfall`), chart(`${storm.storm}-money`))));
}

function table(caption, heads, rows, kind = "") {
  return el("table", { class: `figures ${kind}` },
    el("caption", {}, caption),
    el("thead", {}, el("tr", {}, heads.map((head, at) => el("th",
      { scope: "col", class: at > 0 ? "figure" : null }, head)))),
    el("tbody", {}, rows));
}

function row(name, cells, heavy = false) {
  return el("tr", { class: heavy ? "heavy" : null }, el("th", { scope: "row" }, name),
    cells.map((cell) => el("td", { class: "figure" }, cell)));
}

function rankingTable({ by, currency, level, ranking, storms, chances }) {
  const alone = ranking.length === 1;
  const rows = ranking.map((ranked, at) => {
    const { rank, storm, measures } = ranked;
    const found = measures[by];
    const next = ranking[at + 1]?.storm;
    return row(
      [`${rank}. ${storms[at].title}`, el("span", { class: "soft" },
        vehiclesOf(ranked))],
      alone ? [withLimits(found)]
        : [withLimits(found), next === undefined ? "last" : chance(chances[storm][next])]);
  });
  const heads = ["Storm", `${named(by, currency)}; ${level} in 100 between`];
  return table("The best first", alone ? heads : [...heads, "Chance to beat the next"], rows,
    "ranking");
}

function aboutStorm(storm) {
  const { vehicles } = storm;
  const people = several(storm.technicians, "technician")
    + (storm.estimators > 0 ? ` and ${several(storm.estimators, "estimator")}` : "");
  const aside = vehicles.aside > 0 ? `, ${vehicles.aside} that could not be priced` : "";
  return [
    el("p", {}, `Hail on ${day(storm.hail)}; worked ${day(storm.first_day)} to ${day(storm.last_day)}, `
      + `${several(storm.work_days, "day")}, by ${people}. ${several(vehicles.all, "vehicle")}: `
      + `${vehicles.agreed} agreed, ${vehicles.open} open, ${vehicles.withdrawn} withdrawn${aside}.`),
    storm.notes.map((note) => el("p", { class: "soft" }, note)),
  ];
}

function money(labels, amounts) {
  return Object.entries(amounts).map(([kind, amount]) => row(labels[kind] ?? kind, [apart(amount)]));
}

function broughtIn(storm) {
  return table("What came in", ["Before tax", storm.currency],
    [...money(owner.words.storms.revenue, storm.revenue),
      row("Revenue", [apart(storm.revenue_total)], true)]);
}

function spent(storm) {
  const labels = owner.words.storms.costs;
  return table("What it cost", ["As the shop wrote it down", storm.currency],
    [...money(labels, storm.direct_costs), ...money(labels, storm.fixed_costs),
      row("Cost", [apart(storm.cost_total)], true), row("Margin", [apart(storm.margin)], true)]);
}

function measuresTable({ measures, break_even: paid }, storm, { currency, level }) {
  const needed = [paid.vehicles === null ? "none do" : String(paid.vehicles),
    el("span", { class: "soft" }, limits(paid))];
  return table("What that makes", ["Measure", `Figure, ${level} in 100 between`],
    [...Object.entries(measures)
      .map(([name, found]) => row(named(name, currency), [withLimits(found)])),
      row("Vehicles that pay the fixed costs", [needed])]);
}

/* ---- charts --------------------------------------------------------------------------------- */

/** A chart that appears once it has come, with all of it in words below. */
function chartOf(name, by, current) {
  const figureBox = el("figure", { class: "chart" },
    el("p", { class: "soft wait" }, "The chart is coming."));
  const load = async () => {
    try {
      const path = `/v1/storms/charts/${name}.svg?${query(by)}&width=${NARROW.matches ? "narrow" : "wide"}`;
      const { blob } = await getFile(path, "image/svg+xml");
      const drawn = new DOMParser().parseFromString(await blob.text(), "image/svg+xml");
      if (current()) fill(figureBox, drawnChart(blob, textOf(drawn, "title"), textOf(drawn, "desc")));
    } catch (error) {
      if (!(error instanceof Away || error instanceof Refused || error instanceof NotLetIn)) throw error;
      if (current()) {
        fill(figureBox, el("p", { class: "wait" }, `This chart did not come. ${error.message} `,
          el("button", { type: "button", onclick: load }, "Try again")));
      }
    }
  };
  load();
  return figureBox;
}

function textOf(drawn, tag) {
  return drawn.querySelector(tag)?.textContent ?? "";
}

function drawnChart(blob, title, words) {
  const url = URL.createObjectURL(blob);
  owner.pictures.push(url);
  return [el("div", { class: "picture" }, el("img", { src: url, alt: title })), el("details", {}, el("summary", {}, "This chart in words",
    el("span", { class: "unseen" }, `: ${title}`)), el("p", { class: "soft" }, words))];
}

// Charts are drawn anew for the other width: letters keep a size at which they can be read.
NARROW.addEventListener("change", () => show());
byId("by").addEventListener("change", () => goTo(byId("by").value));
byId("choice").addEventListener("submit", (event) => event.preventDefault());
window.addEventListener("popstate", show);
takeToken();
show();

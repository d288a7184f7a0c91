/* How each panel is reached and why, and in which order things come off: as the sheet says.
 *
 * Every figure and sentence comes from the sheet's evidence; the page only puts words around
 * them. Money and minutes are strings and stay so: a sign is read off their first letter.
 */

import { byId, el, redraw, several } from "./dom.js";
import { inLabels, labelOf } from "./panels.js";

/* A replacement for which no price was given is no news. */
const NO_NEWS = "replace-price";
const NOTHING = /^0(\.0+)?$/;

/** Show plan and removal of a sheet; none: null. */
export function drawPlan(app, sheet) {
  const { plan, removal } = sheet?.evidence ?? {};
  byId("plan-section").hidden = plan === undefined;
  byId("removal-section").hidden = removal === undefined;
  const shows = [sheet?.digest, app.preferences.labels];
  if (plan !== undefined) redraw(byId("plan"), shows, () => planOf(app, sheet, plan));
  if (removal !== undefined) redraw(byId("removal"), shows, () => removalOf(app, sheet, removal));
}

function planOf(app, sheet, plan) {
  const { currency } = sheet.matrix.matrix;
  const counted = new Set(sheet.evidence.counts.filter(({ dents }) => dents > 0)
    .map(({ panel }) => panel));
  return [
    el("p", { class: "soft" }, `Planned so that the whole vehicle ${leastOf(plan.aim)}: what comes off `
      + "for one panel is off for all."
      + (plan.minutes === null ? "" : ` Repair and removal take ${plan.minutes} min.`)),
    el("ul", { class: "saves" },
      against(app, "pushing", plan.against_all_push, currency),
      against(app, "gluing", plan.against_all_glue, currency),
      coolerItem(plan, currency),
      plan.topped_up ? el("li", {}, "The total is topped up to the matrix's minimum, which swallows "
        + "what methods differ by.") : null,
      NOTHING.test(plan.gap) ? null : el("li", {}, "Rounding and the minimum leave open whether "
        + `another plan is lower by up to ${plan.gap} ${currency}.`)),
    el("ul", { class: "planned" }, plan.panels.filter(({ panel }) => counted.has(panel))
      .map((panel) => plannedItem(app, panel, currency))),
  ];
}

function coolerItem({ aim, if_cooler: cooler }, currency) {
  if (cooler === undefined) return null;
  const saved = aim === "cost" ? `${cooler.saves} ${currency}` : `${cooler.saves_minutes} min`;
  return el("li", {}, `With all panels at ${cooler.limit_c} °C or less the plan would come to `
    + `${saved} less.`);
}

function leastOf(aim) {
  return aim === "cost" ? "costs least" : "takes the least time";
}

/* "less" or "more" by the sign, which goes. */
function difference(text, unit) {
  if (NOTHING.test(text)) return `as many ${unit}`;
  return text.startsWith("-") ? `${text.slice(1)} ${unit} more` : `${text} ${unit} less`;
}

function against(app, what, { saves, saves_minutes: minutes, anywhere, except_for: shut }, currency) {
  if (!anywhere) return el("li", {}, `${what[0].toUpperCase()}${what.slice(1)} is open on no panel.`);
  const except = shut.length === 0 ? ""
    : ` Not open on ${shut.map((name) => labelOf(app, name)).join(", ")}, which stay as planned.`;
  const same = NOTHING.test(saves) && (minutes === null || NOTHING.test(minutes));
  const words = same ? "no difference"
    : difference(saves, currency) + (minutes === null ? "" : `, ${difference(minutes, "min")}`);
  return el("li", {}, `Against ${what} every panel: `, el("strong", {}, words), ".", except);
}

function plannedItem(app, panel, currency) {
  const { methods } = app.words;
  const minutes = panel.minutes === null ? "" : `, ${panel.minutes} min`;
  const own = panel.own === null ? "no price yet" : `${panel.own} ${currency}${minutes}`;
  const ruled = panel.ruled_out.filter(({ rule }) => rule !== NO_NEWS);
  const remains = panel.without_method;
  return el("li", { "data-plan": panel.panel },
    el("p", { class: "chosen-way" },
      el("strong", {}, `${labelOf(app, panel.panel)}: ${methods[panel.method]}`), " ",
      el("span", {}, own)),
    el("p", {}, nextBest(methods, panel.next_best, currency)),
    panel.method === "push" && panel.glued_dents > 0
      ? el("p", {}, `Pulled with glue all the same: ${several(panel.glued_dents, "glue-only dent")}.`)
      : null,
    remains === undefined ? null : leftItem(remains),
    ruled.map(({ method, rule, words }) => el("p", {}, `No ${methods[method]}: ${words} `,
      el("span", { class: "soft" }, `(rule ${rule})`))),
    panel.would_change.map(({ words }) => el("p", { class: "soft" }, inLabels(app, words))));
}

function nextBest(methods, other, currency) {
  if (other === null) return "Nothing else is open.";
  const dearer = NOTHING.test(other.more) ? "costs the same"
    : other.more.startsWith("-") ? `${other.more.slice(1)} ${currency} cheaper`
      : `${other.more} ${currency} dearer`;
  if (other.more_minutes === null) return `Next best: ${methods[other.method]}, ${dearer}.`;
  const longer = NOTHING.test(other.more_minutes) ? "takes as long"
    : other.more_minutes.startsWith("-") ? `${other.more_minutes.slice(1)} min faster`
      : `${other.more_minutes} min longer`;
  return `Next best: ${methods[other.method]}, ${dearer}, ${longer}.`;
}

function leftItem({ dents, because, waits, what_remains: offers }) {
  const today = waits ? " today" : "";
  return el("div", { class: "marked-note" },
    el("p", {}, el("strong", {}, `${several(dents, "glue-only dent")} without a method${today}`),
      `: ${because}. What remains:`),
    el("ul", { class: "offers" }, offers.map((offer) => el("li", {}, offer))));
}

/* ---- what comes off ---- */

function removalOf(app, sheet, { off, refit, minutes }) {
  const byName = new Map(sheet.matrix.removal.map((operation) => [operation.id, operation]));
  const operations = off.map((id) => byName.get(id));
  const cautions = [...new Set(operations.flatMap(cautionsOf))];
  return [
    el("p", { class: "soft" }, `${several(off.length, "operation")}, ${minutes} min of removal and `
      + "refit together."),
    cautions.map((caution) => el("p", { class: "marked-note" }, app.words.cautions[caution])),
    el("ol", { class: "operations" }, operations.map(operationItem)),
    el("details", { class: "fold inner" },
      el("summary", {}, el("strong", {}, "Refit"), " ",
        el("span", { class: "soft" }, "the reverse, from the last to the first")),
      el("ol", { class: "operations" }, refit.map((id) => el("li", {}, byName.get(id).label)))),
  ];
}

function operationItem(operation) {
  const { label, minutes, fasteners = 0 } = operation;
  const cautions = cautionsOf(operation);
  return el("li", {}, label, " ",
    el("span", { class: "soft" }, [`${minutes} min`,
      fasteners === 0 ? null : `${several(fasteners, "single-use fastener")}`]
      .filter((text) => text !== null).join(", ")),
    cautions.length === 0 ? null : [" ", el("strong", { class: "caution" },
      `Caution: ${cautions.join(", ")}`)]);
}

/** A matrix file has one caution as a word, several as a list, none as nothing. */
function cautionsOf({ caution = "" }) {
  return (Array.isArray(caution) ? caution : [caution]).filter((key) => key !== "");
}

/* The fields of claim, vehicle and shop, and the lines that are no dents.
 *
 * They are filled once a vehicle and then fold away, because counting is what the page is for.
 */

import { byId, el, fill, say, several } from "./dom.js";
import { choiceField, listField, selectField, textField, ticksField } from "./fields.js";

const OTHER_KINDS = [
  ["part", "Part"], ["sublet", "Sublet work"], ["refinish", "Refinishing"], ["body", "Body work"],
];

const AIMS = [["cost", "least cost"], ["minutes", "least time"]];

/** Make all fields anew from the draft. */
export function drawHeader(app) {
  fill(byId("claim-fields"), neededFields(app), planningFields(app), furtherFields(app),
    shopFields(app));
  fill(byId("other-fields"),
    el("p", { class: "soft" }, "Parts, sublet work, refinishing and body work: quantity times "
      + "price of one."),
    otherLines(app));
  drawSummaries(app);
}

/** What the folds say of themselves while they are closed. */
export function drawSummaries(app) {
  const { claim, vehicle } = app.draft;
  const words = [claim.number, vehicle.description ?? vehicle.body, claim.date_of_loss]
    .filter((word) => typeof word === "string" && word !== "");
  say(byId("claim-summary"), words.join(", ") || "body, number, matrix, dates");
  const others = (app.draft.other ?? []).length;
  say(byId("other-summary"), others === 0 ? "parts, sublet, refinish, body" : several(others, "line"));
  document.title = claim.number ? `${claim.number} – hailcalc` : "hailcalc";
}

function neededFields(app) {
  const bodies = Object.keys(app.words.bodies).map((body) => [body, body]);
  const insurers = el("datalist", { id: "insurers" },
    [...new Set(app.matrices.map((each) => each.insurer).filter(Boolean))]
      .map((insurer) => el("option", { value: insurer })));
  return el("div", { class: "grid" },
    selectField(app, {
      path: ["vehicle", "body"], label: "Body", options: [["", "choose…"], ...bodies],
    }),
    textField(app, { path: ["claim", "number"], label: "Claim number", maxlength: "60" }),
    textField(app, { path: ["claim", "date_of_loss"], label: "Date of loss", kind: "date" }),
    textField(app, { path: ["claim", "insurer"], label: "Insurer", list: "insurers" }), insurers,
    selectField(app, { path: ["matrix"], label: "Difficulty matrix", options: matrixOptions(app) }));
}

function matrixOptions(app) {
  const options = [["", "by insurer and date of loss"]];
  for (const each of app.matrices) {
    const about = each.problems.length > 0 ? "its file has mistakes" : each.title;
    options.push([each.name, about ? `${each.name}: ${about}` : each.name]);
  }
  const own = app.draft.matrix;
  if (own !== undefined && !options.some(([name]) => name === own)) {
    options.push([own, `${own}: not on this server`]);
  }
  return options;
}

/* What decides how panels are reached, beside what is counted on them. */
function planningFields(app) {
  return el("div", { class: "grid planning" },
    ticksField(app, {
      path: ["vehicle", "equipment"], label: "Equipment of the vehicle",
      options: app.words.equipment.map((name) => [name, name.replaceAll("-", " ")]),
    }),
    choiceField(app, { path: ["aim"], label: "Plan access for", options: AIMS, first: "cost" }),
    textField(app, {
      path: ["conditions", "panel_temperature_c"], label: "Panel temperature, °C", kind: "number",
    }));
}

function furtherFields(app) {
  return fold("More about claim and vehicle", "deductible, customer, VIN, sizes",
    textField(app, { path: ["claim", "deductible"], label: "Deductible", kind: "money" }),
    textField(app, { path: ["claim", "customer"], label: "Customer" }),
    textField(app, { path: ["claim", "dated"], label: "Date of the sheet", kind: "date" }),
    textField(app, { path: ["claim", "estimator"], label: "Estimator" }),
    textField(app, { path: ["vehicle", "description"], label: "Description of the vehicle" }),
    textField(app, { path: ["vehicle", "vin"], label: "VIN", kind: "vin" }),
    textField(app, { path: ["vehicle", "value"], label: "Value before the loss", kind: "money" }),
    sizeFields(app));
}

/* They scale the drawings. Places of dents are mm on the panel, which a new size does not move. */
function sizeFields(app) {
  const fields = [["length_mm", "Length"], ["width_mm", "Width"], ["height_mm", "Height"]];
  return el("fieldset", { class: "wide" },
    el("legend", {}, "Overall size of the vehicle, which panels on the drawing are scaled to. Give it "
      + "before dents are put down: they keep their millimetres. A typical size is taken without."),
    el("div", { class: "three" }, fields.map(([key, label]) => textField(app, {
      path: ["vehicle", key], label: `${label}, mm`, kind: "number",
    }))));
}

function shopFields(app) {
  const fields = [
    ["name", "Name of the shop"], ["address", "Address"], ["contact", "Contact"],
    ["licence", "Licence"],
  ];
  return fold("Shop", "printed at the head of the sheet",
    fields.map(([key, label]) => textField(app, { path: ["shop", key], label })));
}

function fold(title, about, ...fields) {
  return el("details", { class: "fold inner" },
    el("summary", {}, el("strong", {}, title), " ", el("span", { class: "soft" }, about)),
    el("div", { class: "grid" }, fields));
}

function otherLines(app) {
  return listField(app, {
    path: ["other"], label: "other line", add: "Add a line", blank: { kind: "part" },
    row: (at, position) => el("div", { class: "other-line" },
      textField(app, { path: [...at, "label"], label: "What", name: `other line ${position + 1}` }),
      selectField(app, {
        path: [...at, "kind"], label: "Kind", options: OTHER_KINDS,
        name: `kind of other line ${position + 1}`,
      }),
      textField(app, {
        path: [...at, "quantity"], label: "Quantity", kind: "count", placeholder: "1",
        name: `quantity of other line ${position + 1}`,
      }),
      textField(app, {
        path: [...at, "unit_price"], label: "Price of one", kind: "money",
        name: `price of other line ${position + 1}`,
      })),
  });
}

/* Fields: a label, an input tied to a place in the draft, and room for what is wrong with it.
 *
 * `app` is what page.js makes: value(path), set(path, value), and `fields`, the register by
 * place through which the server's problems find their field.
 */

import { el, fill, freshId } from "./dom.js";

const KEY = (path) => JSON.stringify(path);

/* Two decimals after a comma cannot be grouped thousands, so the comma is a decimal point;
   keyboards of many phones have no other. */
const COMMA = /^(-?\d+),(\d{1,2})$/;

function withPoint(text) {
  return text.trim().replace(COMMA, "$1.$2");
}

/* What a field's text becomes in the claim. What does not fit stays text: the server says why. */
const PARSERS = {
  text: (text) => text,
  date: (text) => text,
  money: withPoint,
  decimal: withPoint,
  vin: (text) => text.trim().toUpperCase(),
  number: (text) => {
    const plain = withPoint(text);
    return /^-?\d+(\.\d+)?$/.test(plain) ? Number(plain) : plain;
  },
  count: (text) => (/^\d{1,9}$/.test(text.trim()) ? Number(text) : text.trim()),
};

const LOOKS = {
  text: {},
  date: { type: "date" },
  money: { inputmode: "decimal" },
  decimal: { inputmode: "decimal" },
  vin: { autocapitalize: "characters", spellcheck: "false" },
  number: { inputmode: "decimal" },
  count: { inputmode: "numeric" },
};

/** Enter a control under its place; `box` gets the problem, `label` names it in messages. */
export function register(app, path, control, label, box = control.parentElement) {
  const slot = el("p", { class: "problem", id: freshId("problem"), hidden: true });
  box.append(slot);
  app.fields.set(KEY(path), { control, label, slot });
}

/** The register's entry for a place, if its field is on the page. */
export function fieldAt(app, path) {
  const field = app.fields.get(KEY(path));
  return field !== undefined && field.control.isConnected ? field : undefined;
}

/** The nearest field at or above a place: a problem within a list stands at the list. */
export function fieldNear(app, path) {
  for (let length = path.length; length > 0; length -= 1) {
    const field = fieldAt(app, path.slice(0, length));
    if (field !== undefined) return field;
  }
  return undefined;
}

/** Put problems at their fields, and clear all others. */
export function showAtFields(app, problems) {
  const texts = new Map();
  for (const { path, text } of problems) {
    const field = fieldNear(app, path);
    if (field !== undefined) texts.set(field, [...(texts.get(field) ?? []), text]);
  }
  for (const [key, field] of app.fields) {
    if (!field.control.isConnected) app.fields.delete(key);
    else mark(field, texts.get(field));
  }
}

function mark({ control, slot }, texts) {
  const wrong = texts !== undefined;
  slot.hidden = !wrong;
  slot.textContent = wrong ? texts.join("; ") : "";
  if (wrong) {
    if (control.matches("input, select")) control.setAttribute("aria-invalid", "true");
    control.setAttribute("aria-describedby", slot.id);
  } else {
    control.removeAttribute("aria-invalid");
    control.removeAttribute("aria-describedby");
  }
}

function shownText(value) {
  return value === undefined || value === null ? "" : String(value);
}

/** A labelled input. */
export function textField(app, { path, label, kind = "text", suffix = null, name = label, ...more }) {
  const input = el("input", {
    id: freshId("field"), type: "text", autocomplete: "off", ...LOOKS[kind], ...more,
    value: shownText(app.value(path)),
    oninput: () => {
      const value = PARSERS[kind](input.value);
      app.set(path, value === "" ? undefined : value);
    },
    onchange: () => {
      // Once typing is over the field shows what was understood; a half-picked date is left.
      if (kind !== "date") input.value = shownText(app.value(path));
    },
  });
  const outer = el("div", { class: `holder field ${kind}` },
    el("label", { for: input.id }, label), input,
    suffix === null ? null : el("span", { class: "suffix" }, suffix));
  register(app, path, input, name, outer);
  return outer;
}

/** A labelled list to choose from: options are [value, text]; "" stands for no value. */
export function selectField(app, { path, label, options, name = label, ...more }) {
  const select = el("select", {
    id: freshId("field"), ...more,
    onchange: () => app.set(path, select.value === "" ? undefined : select.value),
  }, options.map(([value, text]) => el("option", { value }, text)));
  select.value = shownText(app.value(path));
  const outer = el("div", { class: "holder field" },
    el("label", { for: select.id }, label), select);
  register(app, path, select, name, outer);
  return outer;
}

/** A choice among few, all in sight; `first` is what holds when nothing is said.
 *
 * With `now`, which holds at the moment, whatever is chosen is said.
 */
export function choiceField(app, { path, label, options, first, now = null, ...more }) {
  const name = freshId("choice");
  const held = now ?? app.value(path) ?? first;
  const group = el("fieldset", { class: `choice ${more.class ?? ""}` }, el("legend", {}, label));
  const choices = options.map(([value, text]) => el("label", {},
    el("input", {
      type: "radio", name, value, checked: value === held,
      onchange: () => {
        app.set(path, value === first ? undefined : value);
        if (more.onchange) more.onchange(value);
      },
    }), el("span", {}, text)));
  group.append(el("div", { class: "segments" }, choices));
  register(app, path, group, label, group);
  return group;
}

/** A yes or no that is no unless ticked. */
export function tickField(app, { path, label }) {
  const input = el("input", {
    type: "checkbox", checked: app.value(path) === true,
    onchange: () => app.set(path, input.checked ? true : undefined),
  });
  const outer = el("div", { class: "holder" }, el("label", { class: "tick" }, input,
    el("span", {}, label)));
  register(app, path, input, label, outer);
  return outer;
}

/** Ticks that together make a list of words, such as the marks of one dent. */
export function ticksField(app, { path, label, options }) {
  const group = el("fieldset", { class: "ticks" }, el("legend", {}, label));
  const boxes = options.map(([value, text]) => {
    const input = el("input", {
      type: "checkbox", value, checked: (app.value(path) ?? []).includes(value),
      onchange: () => {
        const ticked = [...group.querySelectorAll("input:checked")].map((each) => each.value);
        app.set(path, ticked.length > 0 ? ticked : undefined);
      },
    });
    return el("label", { class: "tick" }, input, el("span", {}, text));
  });
  group.append(el("div", { class: "tick-row" }, boxes));
  register(app, path, group, label, group);
  return group;
}

/** A large count between − and +; digits can be typed and the arrow keys step. */
export function countField(app, { path, size, hint, panel }) {
  const what = `${size} on ${panel}`;
  const now = () => {
    const value = app.value(path);
    return Number.isInteger(value) ? value : 0;
  };
  const input = el("input", {
    type: "text", inputmode: "numeric", autocomplete: "off", maxlength: "4", class: "count",
    "aria-label": `Dents of ${what}`,
    value: shownText(app.value(path) ?? 0),
    oninput: () => {
      const value = PARSERS.count(input.value);
      app.set(path, value === "" || value === 0 ? undefined : value);
      less.disabled = now() === 0;
    },
    onchange: () => { input.value = shownText(app.value(path) ?? 0); },
    // What is typed replaces the count, so that nobody has to delete it first.
    onfocus: () => input.select(),
    onkeydown: (event) => {
      const by = { ArrowUp: 1, ArrowDown: -1 }[event.key];
      if (by === undefined) return;
      event.preventDefault();
      step(by);
    },
  });
  const step = (by) => {
    const next = Math.min(9999, Math.max(0, now() + by));
    app.set(path, next === 0 ? undefined : next);
    input.value = String(next);
    // A disabled button would drop the keyboard's focus on the floor.
    if (next === 0 && document.activeElement === less) input.focus();
    less.disabled = next === 0;
    app.speak(`${next} ${size}`);
  };
  const less = el("button", {
    type: "button", class: "step", "aria-label": `One ${what} less`, onclick: () => step(-1),
    disabled: now() === 0,
  }, "−");
  const more = el("button", {
    type: "button", class: "step more", "aria-label": `One ${what} more`, onclick: () => step(1),
  }, "+");
  const outer = el("div", { class: "size" },
    el("div", { class: "size-name" }, el("strong", {}, size), el("span", { class: "soft" }, hint)),
    el("div", { class: "stepper" }, less, input, more));
  register(app, path, input, size, outer);
  return outer;
}

/** A list of rows with a button that adds one; `row` makes one from its place and position.
 *
 * Positions change when a row goes, so the whole list is made anew then.
 */
export function listField(app, { path, label, row, add, blank, onchange = () => {} }) {
  const rows = el("ol", { class: "rows" });
  const draw = (focusAt) => {
    fill(rows, (app.value(path) ?? []).map((_, position) => {
      const at = [...path, position];
      const remove = el("button", {
        type: "button", class: "quiet",
        "aria-label": `Remove ${label} ${position + 1}`,
        onclick: () => {
          app.set(at, undefined);
          draw(Math.max(0, position - 1));
          onchange();
          if (rows.children.length === 0) button.focus();
        },
      }, "Remove");
      return el("li", {}, row(at, position), remove);
    }));
    if (focusAt !== undefined) rows.children[focusAt]?.querySelector("input, select")?.focus();
  };
  const button = el("button", {
    type: "button",
    onclick: () => {
      const position = (app.value(path) ?? []).length;
      app.set([...path, position], structuredClone(blank));
      draw(position);
      onchange();
    },
  }, add);
  const outer = el("div", { class: "list" }, rows, button);
  register(app, path, button, label, outer);
  draw();
  return outer;
}

/* The claim as it is being written: a claim file that may still be half typed.
 *
 * A draft has the claim file's own shape, so saving and sending it is JSON.stringify. What is
 * typed stays as typed (money is a string for good), and only the server says whether it will
 * do. A place in it is a list of keys; after "panels" comes the panel's name and not its
 * position, because panels come and go while one is being counted.
 */

const KEPT_WHEN_EMPTY = new Set(["claim", "vehicle", "panels"]);

/* What a panel begins with. One that names no access is pushed: so the claim file says, and so
   do drafts that were kept before access could be planned. */
const NEW_PANEL = { access: "plan" };

/** Today in the estimator's own time zone, ISO 8601. */
export function today() {
  const now = new Date();
  const two = (number) => String(number).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

/** A new claim. Of the one before it keeps what stays the same along a line of vehicles. */
export function newDraft(before = null) {
  const draft = { claim: { dated: today() }, vehicle: {}, panels: [] };
  if (before === null) return draft;
  for (const key of ["date_of_loss", "estimator"]) {
    if (before.claim[key] !== undefined) draft.claim[key] = before.claim[key];
  }
  for (const key of ["shop", "matrix", "aim"]) {
    if (before[key] !== undefined) draft[key] = before[key];
  }
  return draft;
}

/** Whether nothing would be lost if the draft went. */
export function isEmpty(draft) {
  const typed = ["number", "customer", "insurer", "deductible"].some((key) => draft.claim[key]);
  return !typed && Object.keys(draft.vehicle).length === 0 && draft.panels.length === 0
    && (draft.other ?? []).length === 0;
}

function isObject(value) {
  return value !== null && typeof value === "object" && !Array.isArray(value);
}

/** A draft from the text of a claim file or of a sheet's JSON. Throws an Error in words. */
export function draftFromText(text) {
  let data;
  try {
    data = JSON.parse(text);
  } catch {
    throw new Error("it is not readable JSON");
  }
  if (isObject(data) && isObject(data.claim_file)) data = data.claim_file;
  if (!isObject(data)) throw new Error("it holds no claim");
  if (!isObject(data.claim) || !isObject(data.vehicle)) {
    throw new Error("it is no claim file: claim or vehicle is missing");
  }
  if (![data.shop ?? {}, data.conditions ?? {}].every(isObject)) {
    throw new Error("it is no claim file: shop or conditions is no table");
  }
  if (!Array.isArray(data.vehicle.equipment ?? [])) {
    throw new Error("it is no claim file: the equipment is no list");
  }
  data.panels ??= [];
  if (!isListOfObjects(data.panels) || data.panels.some((each) => typeof each.panel !== "string")) {
    throw new Error("it is no claim file: panels is not a list of named panels");
  }
  for (const panel of data.panels) {
    if (!hasSoundShape(panel)) {
      throw new Error(`it is no claim file: the counts of ${panel.panel} have another shape`);
    }
  }
  if (!isListOfObjects(data.other ?? [])) throw new Error("it is no claim file: other is no list");
  return data;
}

function isListOfObjects(value) {
  return Array.isArray(value) && value.every(isObject);
}

/** Whether the page can show a panel's counts; their values are the server's business. */
function hasSoundShape(panel) {
  const { tally = {}, marked = {}, oversize = [], dents = [], zones = [] } = panel;
  const { squares = [] } = panel.sample ?? {};
  const lists = [oversize, dents, zones, squares];
  return [panel.sample ?? {}, tally, marked, ...Object.values(marked ?? {})].every(isObject)
    && lists.every(isListOfObjects)
    && lists.flat().every((dent) => dent.marks === undefined || Array.isArray(dent.marks));
}

function child(draft, holder, key) {
  if (holder === draft.panels) return holder.find((panel) => panel.panel === key);
  return Object.hasOwn(holder, key) ? holder[key] : undefined;
}

/** What stands at a place; undefined if nothing does. */
export function valueAt(draft, path) {
  let value = draft;
  for (const key of path) {
    if (value === null || typeof value !== "object") return undefined;
    value = child(draft, value, key);
  }
  return value;
}

/** Write a value at a place; undefined takes it out, and whatever has become empty with it. */
export function setAt(draft, path, value) {
  const holders = [draft];
  for (const key of path.slice(0, -1)) {
    if (value === undefined && child(draft, holders.at(-1), key) === undefined) return;
    holders.push(child(draft, holders.at(-1), key) ?? addChild(draft, holders.at(-1), key));
  }
  const key = path.at(-1);
  if (value !== undefined) holders.at(-1)[key] = value;
  else if (Array.isArray(holders.at(-1))) holders.at(-1).splice(key, 1);
  else delete holders.at(-1)[key];
  if (value === undefined) prune(draft, path, holders);
}

function addChild(draft, holder, key) {
  if (holder === draft.panels) {
    holder.push({ panel: key, ...NEW_PANEL });
    return holder.at(-1);
  }
  holder[key] = ["oversize", "dents", "other"].includes(key) ? [] : {};
  return holder[key];
}

function prune(draft, path, holders) {
  for (let depth = holders.length - 1; depth > 0; depth -= 1) {
    const holder = holders[depth];
    const above = holders[depth - 1];
    if (above === draft.panels) {
      if (isUntouched(holder)) above.splice(above.indexOf(holder), 1);
      return;
    }
    // A row of a list goes only when it is removed as a whole.
    if (Array.isArray(above) || Object.keys(holder).length > 0) return;
    if (!KEPT_WHEN_EMPTY.has(path[depth - 1])) delete above[path[depth - 1]];
  }
}

/* Of such a panel nothing is said but its name: nobody has looked at it. */
function isUntouched(panel) {
  return Object.keys(panel).length === 2 && panel.access === NEW_PANEL.access;
}

/** How a panel is to be reached, which is the plan's to choose until somebody says. */
export function accessOf(panel = NEW_PANEL) {
  return panel.access ?? "push";
}

/** A dent count as a number; what is no count yet is none. */
export function countOf(value) {
  return Number.isInteger(value) && value > 0 ? value : 0;
}

function isPlaced(dent) {
  return dent.x !== undefined || dent.y !== undefined;
}

/** How a panel is counted; null while nothing on it is.
 *
 * "sample" by sample squares, "own" on an outline or with zones of the shop's own, "drawing" by
 * places on the generic outline, "single" by sizes of single dents, "sizes" by a tally.
 */
export function countedHow(panel = {}) {
  if ((panel.sample ?? null) !== null) return "sample";
  if ((panel.dents ?? []).some(isPlaced)) return hasOwnOutline(panel) ? "own" : "drawing";
  if (panel.dents !== undefined) return "single";
  return dentsOn(panel) > 0 || panel.marked !== undefined ? "sizes" : null;
}

/** Whether a panel brings an outline or zones of the shop's own. */
export function hasOwnOutline(panel = {}) {
  return (panel.outline ?? null) !== null || (panel.zones ?? []).length > 0;
}

/** Dents on a panel, oversize ones included. */
export function dentsOn(panel) {
  if (panel === undefined) return 0;
  const counts = Object.values(panel.tally ?? {}).map(countOf);
  const tallied = counts.reduce((sum, count) => sum + count, 0);
  return tallied + (panel.oversize ?? []).length + (panel.dents ?? []).length;
}

/** What a price cannot be had without and nobody has typed yet: [{path, what}]. */
export function missingFrom(draft) {
  const missing = [];
  const need = (path, what) => {
    if ([undefined, null, ""].includes(valueAt(draft, path))) missing.push({ path, what });
  };
  need(["claim", "number"], "claim number");
  need(["claim", "date_of_loss"], "date of loss");
  need(["vehicle", "body"], "body");
  for (const entry of draft.panels) {
    const at = ["panels", entry.panel];
    if (entry.access === "replace") need([...at, "replace_cost"], "price of the replacement");
    for (const list of ["oversize", "dents"]) {
      (entry[list] ?? []).forEach((_, position) => {
        need([...at, list, position, "mm"], `millimetres of dent ${position + 1}`);
      });
    }
  }
  (draft.other ?? []).forEach((_, position) => {
    need(["other", position, "label"], `what other line ${position + 1} is`);
    need(["other", position, "unit_price"], `price of other line ${position + 1}`);
  });
  return missing;
}

/** A JSON Pointer of the server as a place in the draft that was sent. */
export function pathOf(draft, pointer) {
  const words = pointer.split("/").slice(1)
    .map((key) => key.replaceAll("~1", "/").replaceAll("~0", "~"));
  const keys = [];
  let holder = draft;
  for (const word of words) {
    keys.push(Array.isArray(holder) ? Number(word) : word);
    holder = holder?.[word];
  }
  const entry = keys[0] === "panels" ? draft.panels[keys[1]] : undefined;
  if (entry === undefined) return keys;
  // Of a panel listed twice only the first is on the page.
  const shown = draft.panels.find((panel) => panel.panel === entry.panel) === entry;
  return ["panels", entry.panel, ...(shown ? keys.slice(2) : [])];
}

/** A claim number as a file name that every system takes. */
export function fileName(draft, ending) {
  const plain = String(draft.claim.number ?? "")
    .replaceAll(/[^A-Za-z0-9]+/g, "-").replaceAll(/^-|-$/g, "");
  return `claim${plain ? `-${plain}` : ""}${ending}`;
}

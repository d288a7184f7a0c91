/* The outlines of a body's panels: fetched once, kept on this device.
 *
 * They depend on the body and the vehicle's overall sizes alone, so the address that they are
 * asked under is their name. One answer has every panel of the body: whoever has it goes on
 * counting on drawings without a connection.
 */

import { Refused, get } from "./server.js";

const KEPT = "hailcalc.outlines";
const MOST_KEPT = 12;
const SIZES = ["length_mm", "width_mm", "height_mm"];

/** The overall sizes that the claim gives. */
export function givenSizes({ vehicle }) {
  return SIZES.filter((key) => ![undefined, null, ""].includes(vehicle[key]));
}

function addressOf(app) {
  const { vehicle } = app.draft;
  if (app.words === null || !Object.hasOwn(app.words.bodies, vehicle.body)) return null;
  const query = String(new URLSearchParams(givenSizes(app.draft).map((key) => [key, vehicle[key]])));
  return `/v1/outlines/${vehicle.body}${query && `?${query}`}`;
}

function keptOutlines() {
  try {
    return new Map(JSON.parse(localStorage.getItem(KEPT)) ?? []);
  } catch {
    return new Map(); // nothing kept, or written by something else
  }
}

function keep(address, outlines) {
  const all = keptOutlines();
  all.delete(address); // so that it is the newest
  all.set(address, outlines);
  try {
    localStorage.setItem(KEPT, JSON.stringify([...all].slice(-MOST_KEPT)));
  } catch {
    // they hold until the page is closed
  }
}

/** The outlines for the vehicle as the claim has it: an answer, {refused}, or null so far. */
export function outlinesFor(app) {
  const address = addressOf(app);
  if (address === null) return null;
  if (!app.outlines.has(address)) {
    const kept = keptOutlines().get(address);
    if (kept?.panels === undefined) return null;
    app.outlines.set(address, kept);
  }
  return app.outlines.get(address);
}

/** Ask for the outlines if that has not been done since the page was opened.
 *
 * Kept ones are asked for again once, because a newer server may draw otherwise; its answer
 * says how long the browser need not even do that.
 */
export async function fetchOutlines(app) {
  const address = addressOf(app);
  if (address === null || app.askedOutlines.has(address)) return;
  try {
    const outlines = await get(address, { cache: "default" });
    app.outlines.set(address, outlines);
    keep(address, outlines);
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    app.outlines.set(address, { refused: error.message });
  }
  app.askedOutlines.add(address);
}

/* Sizes and marks of dents: what they are called, and which column of the matrix covers a size.
 *
 * Sizes are mm. A dent counts in the smallest column whose coin covers it.
 */

export const MARKS = [
  ["braced", "behind a brace"], ["glue-only", "glue only"], ["body-line", "on a body line"],
  ["sharp", "sharp"], ["edge", "at an edge"],
];

/** A coin's diameter as text, null if the matrix's set has no such coin. */
export function diameter(app, size) {
  const own = app.matrix?.matrix.coins ?? "us";
  const coins = typeof own === "string" ? app.words.coins[own] : own;
  return coins.find((coin) => coin.name === size)?.mm ?? null;
}

/** The matrix's columns, smallest first: [{size, mm}]. */
export function columnsOf(app) {
  return (app.matrix?.matrix.columns ?? []).map((size) => ({
    size, mm: Number(diameter(app, size)),
  }));
}

/** The column that a dent of so many mm counts in; null if it is larger than all. */
export function columnFor(app, mm) {
  return columnsOf(app).find((column) => column.mm >= mm)?.size ?? null;
}

/** What is larger than every column, in words. */
export function largerThan(app) {
  const last = app.matrix?.matrix.columns.at(-1);
  return last === undefined ? "" : `larger than ${last} (${diameter(app, last)} mm)`;
}

/** The longer axis of a dent, mm; NaN while none is typed. */
export function longest(dent) {
  return dent.mm2 === undefined || dent.mm2 === null
    ? Number(dent.mm) : Math.max(Number(dent.mm), Number(dent.mm2));
}

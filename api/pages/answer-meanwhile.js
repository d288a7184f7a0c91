/* What happened to a claim between two looks at it, in words for the adjuster.
 *
 * A claim's version grows with every change, also with one that an adjuster does not see: the shop
 * saves the draft of a supplement. What counts is what he saw: the sheet, the answers, who agreed,
 * the photographs. Both looks are {claim, answers, pictures}, the answers to the latest sheet.
 */

export const SUPPLEMENT_COMES = "The shop works on a supplement.";
export const SUPPLEMENT_DRAFTED = `${SUPPLEMENT_COMES} It has saved a draft meanwhile. This sheet stands until `
  + "another is issued; your answers to lines that stay the same are carried over to it.";

/** What the adjuster saw and is another now, one phrase each; none if it is all as it was. */
export function seenChanges(before, now) {
  if (before.claim.withdrawn === null && now.claim.withdrawn !== null) return ["the shop has withdrawn it"];
  if (now.claim.revision !== before.claim.revision) {
    return [`the shop has issued revision ${now.claim.revision}, a supplement`];
  }
  const given = now.answers.parts.slice(before.answers.parts.length);
  return [
    given.length === 0 ? null : `${namesOf(given)} answered`,
    ...["shop", "adjuster"].map((side) => wordChange(side, before.answers.settlement, now.answers.settlement)),
    pictureChange(before.pictures, now.pictures),
  ].filter(Boolean);
}

/** Whether the shop has saved a draft: nothing else changes a claim so that nothing of it shows. */
export function onlyDrafted(before, now) {
  const shows = ({ claim: { state, sums, settlement } }) => JSON.stringify([state, sums, settlement]);
  return before.claim.version !== now.claim.version && seenChanges(before, now).length === 0
    && shows(before) === shows(now);
}

/** Phrases in one sentence. */
export function together(phrases) {
  return phrases.length < 2 ? phrases.join("")
    : `${phrases.slice(0, -1).join(", ")} and ${phrases.at(-1)}`;
}

function namesOf(given) {
  const names = [...new Set(given.map(({ by }) => by || "somebody else"))];
  return `${together(names)} ${names.length === 1 ? "has" : "have"}`;
}

function pictureChange(before, now) {
  if (JSON.stringify(before) === JSON.stringify(now)) return null;
  return now.length > before.length ? "the shop has added a photograph" : "the shop has changed the photographs";
}

function wordChange(side, before, now) {
  const word = now?.[side] ?? null;
  const same = before?.digest === now?.digest && JSON.stringify(before?.[side] ?? null) === JSON.stringify(word);
  if (word === null || same) return null;
  return side === "shop" ? "the shop has agreed to the settlement"
    : `${word.by || "somebody else"} has agreed to the settlement`;
}

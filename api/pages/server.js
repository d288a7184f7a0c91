/* Asking the server, which prices and keeps nothing.
 *
 * Three outcomes matter to the page: an answer, a refusal with its reasons, and no answer at
 * all, which is worth another try.
 */

/** No answer: no connection, or the server in trouble. */
export class Away extends Error {}

/** A refusal; `problems` are the entries of its problem document. */
export class Refused extends Error {
  constructor(document) {
    super(document.detail ?? "The server refused.");
    this.problems = document.errors ?? [];
  }
}

async function ask(path, options) {
  let response;
  try {
    response = await fetch(path, { cache: "no-store", ...options });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Away("The server does not answer.");
  }
  if (response.status >= 500) throw new Away(`The server answers with error ${response.status}.`);
  if (!response.ok) throw new Refused(await response.json().catch(() => ({})));
  return response;
}

/** JSON from the server. */
export async function get(path, options = {}) {
  return (await ask(path, options)).json();
}

function post(route, draft, accept, query, signal) {
  return ask(`/v1/${route}${query}`, {
    method: "POST",
    headers: { "Content-Type": "application/json", Accept: accept },
    body: JSON.stringify(draft),
    signal,
  });
}

/** The sheet of a claim as the text of its JSON file. */
export async function sheetText(draft, signal) {
  return (await post("price", draft, "application/json", "", signal)).text();
}

/** A PDF of the claim, the sheet ("price") or the job card ("plan"): {blob, name}. */
export async function claimPdf(route, draft, paper, labels) {
  const query = `?${new URLSearchParams({ paper, labels })}`;
  const response = await post(route, draft, "application/pdf", query);
  const named = /filename="([^"]+)"/.exec(response.headers.get("content-disposition") ?? "");
  return { blob: await response.blob(), name: named === null ? "claim.pdf" : named[1] };
}

/** The matrix that prices claims of this insurer and date of loss: its name, or its own choice.
 *
 * The rule of choice is the server's: it is asked with a claim that has nothing else in it.
 */
export async function matrixFor(name, insurer, day) {
  if (name !== undefined) return get(`/v1/matrices/${encodeURIComponent(name)}`);
  const claim = { number: "-", date_of_loss: day };
  if (insurer !== undefined) claim.insurer = insurer;
  return JSON.parse(await sheetText({ claim, vehicle: { body: "sedan" } })).matrix;
}

/* Asking the server, which prices claims and keeps them.
 *
 * Four outcomes matter to a page: an answer, a refusal with its reasons, a token that opens nothing,
 * and no answer at all, which is worth another try. What changes something is sent with a key of its
 * own: repeated until there is an answer, it is done once.
 */

import { authorized, heldToken } from "./token.js";

const WAITS_MS = [1000, 2000, 4000, 8000];
const LONGEST_WAIT_MS = 30000;
/* Of a proxy without a server behind it, and of a server that is too busy just now. */
const PASSING = [502, 503, 504];

/** No answer: no connection, or the server in trouble.
 *
 * `passing`: it may be over soon; `wait` is how long the server said that takes, ms, or null.
 */
export class Away extends Error {
  constructor(text, { passing = true, wait = null } = {}) {
    super(text);
    this.passing = passing;
    this.wait = wait;
  }
}

/** The token is missing, unknown, ended or revoked. */
export class NotLetIn extends Error {}

/** A refusal; `problems` are the entries of its problem document, `kind` its sort. */
export class Refused extends Error {
  constructor(document, status = 400) {
    super(document.detail ?? "The server refused.");
    this.problems = document.errors ?? [];
    this.kind = (document.type ?? "").split("/").at(-1);
    this.status = status;
  }
}

async function ask(path, options = {}) {
  if (path.startsWith("/v1/") && heldToken() === null) throw new NotLetIn("This needs a token.");
  let response;
  const headers = authorized(options.headers);
  try {
    response = await fetch(path, { cache: "no-store", ...options, headers });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Away("The server does not answer.");
  }
  if (response.ok) return response;
  if (response.status >= 500) {
    const told = await response.json().catch(() => ({}));
    const text = told.type?.startsWith("/problems/") ? told.detail
      : `The server answers with error ${response.status}.`;
    const seconds = Number.parseInt(response.headers.get("retry-after") ?? "", 10);
    const wait = Number.isNaN(seconds) ? null : Math.min(seconds * 1000, LONGEST_WAIT_MS);
    throw new Away(text, { passing: PASSING.includes(response.status), wait });
  }
  const document = await response.json().catch(() => ({}));
  if (response.status === 401) throw new NotLetIn(document.detail ?? "This needs a token.");
  throw new Refused(document, response.status);
}

/** JSON from the server. */
export async function get(path, options = {}) {
  return (await ask(path, options)).json();
}

/** A file from the server: {blob, name}; `accept` says in which form. */
export async function getFile(path, accept) {
  return fileOf(await ask(path, { headers: { Accept: accept } }));
}

async function fileOf(response) {
  const named = /filename="([^"]+)"/.exec(response.headers.get("content-disposition") ?? "");
  return { blob: await response.blob(), name: named === null ? "claim.pdf" : named[1] };
}

/** The places of a refusal in words, in a sentence each. */
export function placesInWords(problems) {
  return problems.map(({ pointer, in: where, file, found, expected }) => {
    const keys = (pointer ?? "").split("/").slice(1).map((key) => key.replaceAll("_", " "));
    const place = [file, keys.join(", ") || where].filter(Boolean).join(", ");
    return `${place}: found ${found}, expected ${expected}.`;
  });
}

/** A refusal with its places, each said once; what is wrong with a header is the page's to know. */
export function refusalInWords({ message, problems }) {
  const places = placesInWords(problems.filter((each) => each.in !== "header"));
  return [message, ...places.filter((text) => !message.includes(text.slice(0, -1)))].join(" ");
}

/** A key that no other change has. */
export function newKey() {
  // Not crypto.randomUUID, which a page without TLS from another machine does not have.
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** Change something: `version` is what it was made against, `body` a value or a blob.
 *
 * While nobody answers it is asked again with the same key, `waiting` told each time.
 */
export async function send(method, path, { body, version, key = newKey(), waiting } = {}) {
  const headers = { "Idempotency-Key": key };
  if (version !== undefined) headers["If-Match"] = `"${version}"`;
  const blob = body instanceof Blob;
  headers["Content-Type"] = blob ? typeOf(body) : "application/json";
  const options = { method, headers, body: blob ? body : JSON.stringify(body ?? {}) };
  for (const wait of [...WAITS_MS, null]) {
    try {
      const response = await ask(path, options);
      return response.status === 204 ? null : await response.json();
    } catch (error) {
      if (!(error instanceof Away) || !error.passing || wait === null) throw error;
      waiting?.(error);
      await new Promise((resolve) => { setTimeout(resolve, Math.max(wait, error.wait ?? 0)); });
    }
  }
  return null;
}

/* Some browsers do not know what a photograph of a telephone is called. */
function typeOf({ type, name = "" }) {
  if (type !== "") return type;
  const ending = name.toLowerCase().split(".").at(-1);
  return ["heic", "heif"].includes(ending) ? `image/${ending}` : "application/octet-stream";
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
  return fileOf(await post(route, draft, "application/pdf", query));
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

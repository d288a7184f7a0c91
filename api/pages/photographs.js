/* Photographs on their way to the store, from the camera or from files.
 *
 * Each is sent by itself with a key of its own: what is sent again because its answer was lost is
 * kept once. One that was not taken stays on the list with the reason, to be sent again.
 */

import { el, fill, freshId, say, several } from "./dom.js";
import { NotLetIn, newKey, send } from "./server.js";

const TYPES = "image/jpeg,image/png,image/heic,image/heif,image/webp";
const WHOLE = "Whole vehicle";

/** What adds photographs to a claim: {element, update, busy}.
 *
 * `update(panels, labels, at)` says what they can be of and which panel is being looked at, `busy`
 * whether one is not kept yet. `heard.notLetIn` hears of a token that opens nothing, `heard.done`
 * that all have been sent, some of them perhaps in vain; both may change on the way.
 */
export function newUploader(id, heard) {
  const queue = [];
  let running = false;
  let kept = 0;
  let seen = null;

  const panel = el("select", { id: freshId("photograph-of") });
  const note = el("input", { id: freshId("photograph-note"), type: "text", maxlength: 300 });
  const said = el("p", { role: "status" });
  const bar = el("progress", { hidden: true, "aria-label": "Photographs sent" });
  const list = el("ul", { class: "uploads" });
  const camera = chooser({ capture: "environment" });
  const files = chooser({ multiple: true });

  function chooser(more) {
    return el("input", {
      type: "file", accept: TYPES, hidden: true, ...more,
      onchange: ({ target }) => {
        for (const file of target.files) {
          queue.push({ file, panel: panel.value, note: note.value.trim(), key: newKey(), why: null });
        }
        target.value = ""; // so that the same file can be chosen again
        run();
      },
    });
  }

  function draw() {
    const failed = queue.filter(({ why }) => why !== null);
    const waiting = queue.length - failed.length;
    bar.hidden = waiting === 0;
    bar.max = kept + waiting;
    bar.value = kept;
    fill(list, failed.map((each) => el("li", {},
      el("p", {}, el("strong", {}, each.file.name), ` was not kept: ${each.why}`),
      el("div", { class: "tools" },
        el("button", { type: "button", onclick: () => again(each) }, "Send it again"),
        el("button", { type: "button", class: "quiet", onclick: () => leaveOut(each) }, "Leave it out")))));
    if (waiting > 0) say(said, `Sending photograph ${kept + 1} of ${kept + waiting}…`);
    else if (failed.length > 0) {
      say(said, `${several(failed.length, "photograph")} not kept${kept > 0 ? `, ${kept} kept` : ""}.`);
    } else say(said, kept === 0 ? "" : kept === 1 ? "1 photograph is kept." : `${kept} photographs are kept.`);
  }

  function again(each) {
    each.why = null;
    run();
  }

  function leaveOut(each) {
    queue.splice(queue.indexOf(each), 1);
    draw();
  }

  async function run() {
    draw();
    if (running) return;
    running = true;
    for (let next = waitingOne(); next !== undefined; next = waitingOne()) {
      await sendOne(next);
      draw();
    }
    running = false;
    note.value = "";
    heard.done?.();
    kept = queue.length > 0 ? kept : 0;
  }

  function waitingOne() {
    return queue.find(({ why }) => why === null);
  }

  async function sendOne(each) {
    const query = new URLSearchParams();
    if (each.panel !== "") query.set("panel", each.panel);
    if (each.note !== "") query.set("note", each.note);
    try {
      await send("POST", `/v1/claims/${id}/photographs?${query}`, {
        body: each.file, key: each.key,
        waiting: ({ message }) => say(said, `${message} The photograph is sent when it is back.`),
      });
      queue.splice(queue.indexOf(each), 1);
      kept += 1;
    } catch (error) {
      each.why = error.message;
      if (error instanceof NotLetIn) heard.notLetIn(error);
    }
  }

  function update(panels, labels, at = null) {
    const chosen = at !== seen && panels.includes(at) ? at : panel.value;
    seen = at;
    fill(panel, el("option", { value: "" }, WHOLE),
      panels.map((name) => el("option", { value: name }, labels[name] ?? name)));
    panel.value = panels.includes(chosen) ? chosen : "";
  }

  // A photograph that is not kept yet is nowhere else.
  window.addEventListener("beforeunload", (event) => {
    if (queue.length > 0) event.preventDefault();
  });
  const element = el("div", { class: "uploader" },
    el("div", { class: "row" },
      el("div", { class: "field" }, el("label", { for: panel.id }, "Photograph of"), panel),
      el("div", { class: "field" }, el("label", { for: note.id }, "Note, if any"), note)),
    el("div", { class: "row" },
      el("button", { type: "button", onclick: () => camera.click() }, "Take a photograph"),
      el("button", { type: "button", onclick: () => files.click() }, "Choose photographs")),
    camera, files, bar, said, list);
  return { element, update, busy: () => queue.length > 0 };
}

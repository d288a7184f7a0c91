/* The photographs of a claim: fetched with the token once they come near to being seen. */

import { el, fill } from "./dom.js";
import { getFile } from "./server.js";

/** Fill a box with thumbnails; each opens the picture in a window of its own.
 *
 * `leaveOut` is asked to leave one out of sheets from now on; null for whoever may not.
 */
export function drawPictures(box, claim, photographs, labels, leaveOut = null) {
  const waiting = new Map();
  const watch = new IntersectionObserver((entries) => {
    for (const { isIntersecting, target } of entries) {
      if (!isIntersecting) continue;
      watch.unobserve(target);
      waiting.get(target)();
    }
  }, { rootMargin: "300px" });
  const near = (figure, load) => {
    waiting.set(figure, load);
    watch.observe(figure);
  };
  fill(box, photographs.map((each) => thumbnail(claim, each, labels, leaveOut, near)));
}

function thumbnail(claim, each, labels, leaveOut, near) {
  const name = each.panel === null ? "Whole vehicle" : labels[each.panel];
  const taken = each.taken === null ? "" : `, taken ${each.taken.slice(0, 16).replace("T", " ")}`;
  const image = el("img", { alt: each.note ? `${name}. ${each.note}` : name });
  const button = el("button", { type: "button", "aria-label": `Open: ${image.alt}` }, image);
  const figure = el("figure", {}, button,
    el("figcaption", {}, `${name}${taken}${each.note ? `. ${each.note}` : ""}`),
    each.left_out !== null ? el("p", { class: "out" }, "Left out of sheets")
      : leaveOut === null ? null : el("button", {
        type: "button", class: "leave", "aria-label": `Leave out: ${image.alt}`,
        onclick: () => leaveOut(each),
      }, "Leave out"));
  const load = async () => {
    try {
      const { blob } = await getFile(`/v1/claims/${claim}/photographs/${each.number}`, "*/*");
      image.src = URL.createObjectURL(blob);
    } catch {
      image.alt = `${name}: not to be had now. Press to try again.`;
    }
  };
  button.addEventListener("click", () => {
    if (image.src) window.open(image.src, "_blank");
    else load();
  });
  near(figure, load);
  return figure;
}

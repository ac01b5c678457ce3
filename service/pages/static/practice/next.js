// While the table shows what was judged, the shot that is next is drawn small beside its words.

import { drawing } from "./table.js";

const OF_JUDGED = ".zone, .arrival, .miss, .before, .stop, #own-layer, #own-trace, #own-grips";
const frame = document.getElementById("next-drawn");

/** Draws it, from what the table has of it already; takes it away where that is seen itself. */
export function drawNext(isWanted) {
  frame.hidden = !isWanted || !drawing();
  frame.querySelector("svg")?.remove();
  if (frame.hidden) return;
  const small = drawing().cloneNode(true);
  for (const each of small.querySelectorAll(OF_JUDGED)) each.remove();
  // told by the button's own words, and an id is on the page once
  for (const each of small.querySelectorAll("title, desc")) each.remove();
  for (const each of [small, ...small.querySelectorAll("[id]")]) each.removeAttribute("id");
  // its balls are no balls to tap or to name
  for (const each of small.querySelectorAll("[data-ball]")) {
    each.removeAttribute("data-ball");
    each.classList.remove("ball");
  }
  for (const name of ["role", "aria-labelledby"]) small.removeAttribute(name);
  small.setAttribute("aria-hidden", "true");
  frame.append(small);
}

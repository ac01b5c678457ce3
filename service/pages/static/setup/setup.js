// The set-up page: one step at a time, each with an address of its own.

import "./away.js";
import * as board from "./board.js";
import * as empty from "./empty.js";
import * as source from "./source.js";

// ball set and reach are the table's: they are set up with its first camera alone
const ofTable = document.getElementById("balls")
  ? [await import("./balls.js"), await import("./reach.js")]
  : [];
const steps = [...document.querySelectorAll(".step")];
const links = [...document.querySelectorAll("[data-step]")];

function show(isFirst = false) {
  const named = location.hash.slice(1);
  const step = steps.find((each) => each.id === named) ?? steps[0];
  for (const each of steps) each.hidden = each !== step;
  for (const link of links) {
    if (link.dataset.step === step.id) link.setAttribute("aria-current", "step");
    else link.removeAttribute("aria-current");
  }
  for (const part of [source, empty, board, ...ofTable]) part.onStep?.(step.id);
  if (!isFirst) step.querySelector("h2").focus({ preventScroll: true });
  if (!isFirst) scrollTo({ top: 0 });
}

addEventListener("hashchange", () => show());
show(true);

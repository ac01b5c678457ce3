// Maps laid under the balls: chances, reach and what is hooked, of the ball that comes next.

import { current, onShot } from "./plan.js";
import { add, drawing, group } from "./table.js";

const STEP_MM = 20;
const tools = document.getElementById("tools");
const words = document.getElementById("layer-words");
const TOLD = {
  chances: (ball) => `Chance of potting ${ball} by where the cue ball stops: pale much, dark little; steps at 10, 25, 50, 75 and 90 %.`,
  reach: (ball) => `Reach for ${ball}: striped out of reach, dotted with the bridge, clear by hand.`,
  hooked: (ball) => `Where ${ball} is hooked: striped hooked, dotted partly, clear free.`,
};
let shown = null;

// The map's address for the shot as it stands; null where its ball was not chosen yet.
function address() {
  const { shot, told } = current();
  const ball = shot.next ?? shot.pot ?? told?.last?.next;
  if (!told || !ball || !told.balls.some((each) => each.id === ball)) return null;
  const isNext = ball === shot.next;
  const pocket = isNext ? shot.next_pocket : shot.pocket;
  const asked = new URLSearchParams({ ball, reading: told.reading, step_mm: STEP_MM });
  if (pocket && pocket !== "any" && shown !== "hooked") asked.set("pocket", pocket);
  if (isNext && shot.pot && shown !== "reach") asked.set("without", shot.pot);
  return { ball, path: `/api/v1/${shown}.png?${asked}`, needsPocket: shown === "reach" && !asked.has("pocket") };
}

function show() {
  const under = group("layer", "under");
  words.textContent = "";
  if (!shown || !under) return;
  const asked = address();
  if (!asked) words.textContent = "Choose a ball first: the map shows from where it can be played.";
  else if (asked.needsPocket) words.textContent = "Choose its pocket first: reach depends on the line.";
  else {
    words.textContent = TOLD[shown](`ball ${asked.ball}`);
    lay(under, asked.path);
  }
}

function lay(under, path) {
  const { told } = current();
  const [length, width] = told.surface_mm;
  const [wide, high] = [length, width].map((side) => Math.ceil(side / STEP_MM) * STEP_MM);
  const table = drawing().querySelector(":scope > .table");
  add(under, "image", { class: "layer", href: path, x: 0, y: width - high, width: wide, height: high, preserveAspectRatio: "none" });
  if (table.hasAttribute("transform")) under.setAttribute("transform", table.getAttribute("transform"));
  // under zones and balls
  drawing().insertBefore(under, table.nextSibling);
}

tools.addEventListener("click", (event) => {
  const button = event.target.closest("[data-layer]");
  if (!button) return;
  shown = shown === button.dataset.layer ? null : button.dataset.layer;
  for (const each of tools.querySelectorAll("[data-layer]")) {
    each.setAttribute("aria-pressed", String(each.dataset.layer === shown));
  }
  show();
});
onShot(show);

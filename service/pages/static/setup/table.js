// What is known beside the still: the surface, and what settles the scale.

import { stepHeight } from "./height.js";
import { keep, kept } from "./kept.js";
import { drawTable } from "./places.js";
import { onTake } from "./source.js";
import { ask } from "./work.js";

const byId = (id) => document.getElementById(id);
const unit = document.querySelector("#own-size").querySelector("label").textContent.includes(", in") ? "in" : "mm";
const FIELDS = ["own-length", "own-width", "camera-height", "height-error"];
const section = byId("table");
let check = null;

const picked = (name) => document.querySelector(`[name=${name}]:checked`).value;
const length = (id) => (byId(id).value.trim() ? `${byId(id).value.trim()}${unit}` : null);

/** Why nothing can be worked out yet, in words; empty where it can. */
export function missing() {
  if (picked("surface") === "own" && !(length("own-length") && length("own-width"))) {
    return "Type the length and the width of the playing surface, at Table.";
  }
  if (picked("scale") === "height" && !length("camera-height")) {
    return "Set the lens's height above the bed, at Table, or choose there that nothing is known yet.";
  }
  if (picked("scale") === "lens" && !byId("lens").value) {
    return "No lens is kept: show the lens board first, or choose another way at Table.";
  }
  return "";
}

/** What a calibration is asked with. */
export function told() {
  const own = picked("surface") === "own";
  const scale = picked("scale");
  const out = { surface: own ? `${length("own-length")}x${length("own-width")}` : picked("surface") };
  if (scale === "height") out.camera_height = length("camera-height");
  if (scale === "height" && length("height-error")) out.camera_height_error = length("height-error");
  if (scale === "lens") out.lens = byId("lens").value;
  if (check) out.ball_check = check.id;
  return out;
}

function show() {
  byId("own-size").hidden = picked("surface") !== "own";
  for (const part of section.querySelectorAll("[data-scale]")) part.hidden = part.dataset.scale !== picked("scale");
}

function keepAll() {
  show();
  const values = Object.fromEntries(FIELDS.map((id) => [id, byId(id).value]));
  keep("table", { unit, surface: picked("surface"), scale: picked("scale"), lens: byId("lens").value, values });
}

/** The lenses that are kept, the newest first; `chosen` is taken where it is among them. */
export async function listLenses(chosen = byId("lens").value) {
  const answer = await ask("GET", "/lenses");
  if (!answer.ok) return;
  const options = answer.body.lenses.map((lens) => {
    const made = new Date(lens.kept_at).toLocaleDateString();
    const [wide, high] = lens.size_px;
    return new Option(`${made}, ${wide} × ${high}, ${lens.held_out_px.toFixed(2)} px`, lens.id);
  });
  byId("lens").replaceChildren(...(options.length ? options : [new Option("none yet", "")]));
  if (answer.body.lenses.some((lens) => lens.id === chosen)) byId("lens").value = chosen;
}

/** Has a lens settle the scale from now on. */
export async function useLens(id) {
  await listLenses(id);
  section.querySelector("[name=scale][value=lens]").checked = true;
  keepAll();
}

function showCheck() {
  byId("check-taken").textContent = check ? `${check.name} is taken: it counts with the next calibration.` : "";
  byId("check-drop").hidden = !check;
}

onTake("check", "empty-refusal", (still) => {
  check = still;
  showCheck();
});
byId("check-drop").addEventListener("click", () => {
  check = null;
  showCheck();
});
section.addEventListener("change", keepAll);
for (const svg of section.querySelectorAll("[data-diagram]")) drawTable(svg, svg.dataset.diagram.split(" "));

const before = kept("table");
if (before && before.unit === unit) {
  for (const name of ["surface", "scale"]) {
    const choice = document.querySelector(`[name=${name}][value="${before[name]}"]`);
    if (choice) choice.checked = true;
  }
  for (const [id, value] of Object.entries(before.values)) byId(id).value = value;
}
stepHeight(keepAll);
show();
listLenses(before?.lens);

// The lens board, still by still: what was seen, what is missing, what to show next, the lens.

import { setOff } from "../base/off.js";
import { keep, kept } from "./kept.js";
import { make } from "./places.js";
import { isCamera, onTake } from "./source.js";
import { useLens } from "./table.js";
import { ask, refuse, work } from "./work.js";

const EVERY_MS = 3000; // time to move the board
const byId = (id) => document.getElementById(id);
const TILTS = { left: "its left edge away", right: "its right edge away", top: "its upper edge away", bottom: "its lower edge away" };
let board = null;
let timer = 0;
let isWorking = false;

async function begin() {
  const ruler = Number(byId("ruler").value) || 100;
  const asked = { paper: byId("paper").value, ruler_mm: ruler === 100 ? null : ruler };
  const answer = await ask("POST", "/boards", asked);
  refuse("board-refusal", answer.ok ? null : { headline: answer.body?.title ?? answer.detail, to_do: answer.detail });
  if (answer.ok) show(answer.body);
  return answer.ok;
}

async function seen(still) {
  if (!board && !(await begin())) return;
  isWorking = true;
  const id = board.id;
  const outcome = await work("POST", `/boards/${id}/stills`, { still: still.id }, { id: "board" });
  isWorking = false;
  refuse("board-refusal", outcome.ok ? null : outcome);
  if (outcome.ok && board?.id === id) show({ ...outcome.work.result, id }, still);
  if (!outcome.ok && outcome.code === "setup-gone") forget();
}

function forget() {
  board = null;
  keep("board", null);
}

// -- what is shown -------------------------------------------------------------------------

function show(told, still = null) {
  board = told;
  keep("board", told.id);
  byId("board-next").textContent = told.next;
  const last = told.stills.at(-1);
  const fate = !last ? "" : last.used ? `Still ${told.stills.length} counts${tiltWords(last.tilts)}.` : `Still ${told.stills.length} does not count: ${last.words}`;
  byId("board-last").textContent = `${fate} ${told.used} of ${told.wanted} that are wanted.`.trim();
  setOff(byId("make-lens"), !told.can_fit);
  byId("make-lens").classList.toggle("quiet", told.missing.length > 0);
  drawCoverage(told, still);
}

function tiltWords(tilts) {
  return tilts.length ? ` (${tilts.map((tilt) => TILTS[tilt]).join(", ")})` : " (flat on)";
}

function drawCoverage(told, still) {
  const svg = byId("coverage");
  const [wide, high] = told.size_px ?? [still?.width_px ?? 1920, still?.height_px ?? 1080];
  svg.setAttribute("viewBox", `0 0 ${wide} ${high}`);
  svg.replaceChildren();
  const pattern = make("pattern", { id: "stripes", width: wide / 40, height: wide / 40, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, make("defs", {}, svg));
  make("rect", { class: "stripe", width: wide / 90, height: wide / 40 }, pattern);
  make("rect", { class: "c-ground", width: wide, height: high }, svg);
  if (still) make("image", { href: still.picture, width: wide, height: high, opacity: 0.55 }, svg);
  for (const each of told.stills.filter((one) => one.used)) {
    make("polygon", { class: "c-board", points: each.outline_px.map(([u, v]) => `${u},${v}`).join(" ") }, svg);
  }
  told.regions.forEach((region, k) => {
    const [x, y] = [((k % 3) * wide) / 3, (Math.floor(k / 3) * high) / 3];
    const cell = make("g", { class: region.enough ? "c-enough" : "c-missing" }, svg);
    make("rect", { x, y, width: wide / 3, height: high / 3, fill: region.enough ? "none" : "url(#stripes)" }, cell);
    const text = make("text", { x: x + wide / 6, y: y + high / 6 + wide / 80, "text-anchor": "middle", "font-size": wide / 22 }, cell);
    text.textContent = region.enough ? "✓" : `${Math.round(100 * region.part)} %`;
  });
  const open = told.regions.filter((region) => !region.enough).map((region) => region.name);
  const tilts = Object.entries(told.tilts).filter(([, count]) => !count).map(([name]) => TILTS[name]);
  const said = [
    open.length ? `Missing in the picture: ${open.join(", ")}.` : "The whole picture is covered.",
    tilts.length ? `Missing tilts: ${tilts.join(", ")}.` : "Every tilt was seen.",
  ].join(" ");
  byId("coverage-words").textContent = said;
  svg.setAttribute("aria-label", said);
}

// -- the lens ------------------------------------------------------------------------------

async function makeLens() {
  stopByItself();
  setOff(byId("make-lens"), true);
  const outcome = await work("POST", `/boards/${board.id}/lens`, null, { id: "board" });
  setOff(byId("make-lens"), false);
  refuse("board-refusal", outcome.ok ? null : outcome);
  if (!outcome.ok) return;
  byId("lens-said").textContent = `${outcome.work.result.words} It is kept.`;
  document.querySelector("[data-state-of=lens-board]").textContent = "kept";
  byId("after-lens").hidden = false;
  await useLens(outcome.work.result.id);
  byId("after-lens").querySelector("a").focus();
}

// -- stills by themselves ------------------------------------------------------------------

function stopByItself() {
  clearTimeout(timer);
  byId("by-itself").checked = false;
}

function byItself() {
  clearTimeout(timer);
  if (!byId("by-itself").checked || byId("lens-board").hidden) return;
  timer = setTimeout(async () => {
    if (!isWorking && byId("by-itself").checked && !(await take(null))) stopByItself();
    byItself();
  }, EVERY_MS);
}

/** Stops taking stills when another step is looked at. */
export function onStep(step) {
  byId("by-itself-line").hidden = !isCamera();
  if (step !== "lens-board") stopByItself();
}

const take = onTake("board", "board-refusal", seen, { many: true });
byId("make-lens").addEventListener("click", makeLens);
byId("by-itself").addEventListener("change", byItself);
byId("board-again").addEventListener("click", async () => {
  stopByItself();
  byId("lens-said").textContent = "";
  byId("after-lens").hidden = true;
  await begin();
});
byId("ruler").addEventListener("change", forget);
byId("paper").addEventListener("change", () => {
  byId("board-pdf").href = `/api/v1/setup/board.pdf?paper=${byId("paper").value}`;
  forget();
});

async function resume() {
  const answer = kept("board") ? await ask("GET", `/boards/${kept("board")}`) : null;
  if (answer?.ok) {
    byId("paper").value = answer.body.paper;
    byId("board-pdf").href = `/api/v1/setup/board.pdf?paper=${answer.body.paper}`;
    show(answer.body);
  } else {
    forget();
    drawCoverage({ stills: [], tilts: { left: 0, right: 0, top: 0, bottom: 0 }, regions: Array.from({ length: 9 }, (_, k) => ({ name: ["top left", "top", "top right", "left", "middle", "right", "bottom left", "bottom", "bottom right"][k], part: 0, enough: false })) }, null);
  }
}
resume();

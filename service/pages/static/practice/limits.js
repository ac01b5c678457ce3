// The limits of the leave: by large steppers, or by dragging the zone's edges.

import { change, current, onShot, settle } from "./plan.js";
import { stepOf } from "./shot.js";
import { add, at, drawing, ghost, group, mmPerPx, pathOf, placeOf } from "./table.js";

const MOST_CUT = 90;
const LEAST_APART_DEG = 2;
const LEAST_APART_MM = 20;
const MOST_MM = 3000; // beyond it there is no limit
const GRIP_PX = 11;
const HOLD_PX = 24; // a fingertip
const STEPS = { mm: [50, 10], in: [2, 0.5], diamonds: [0.25, 0.1] };
const DIGITS = { mm: 0, in: 1, diamonds: 2 };
const box = document.getElementById("limits");
let held = null;
// where there is room beside the table they are open from the start
box.open = matchMedia("(min-width: 900px) and (min-height: 520.02px)").matches;

// -- the shape of a leave ----------------------------------------------------------------------

const turned = ([x, y], deg) => {
  const rad = (deg * Math.PI) / 180;
  return [x * Math.cos(rad) - y * Math.sin(rad), x * Math.sin(rad) + y * Math.cos(rad)];
};

// Where the cue ball lies, so far from the ghost ball with so much cut; left is −, right is +.
function place({ x, y, way }, side, cut, mm) {
  const [dx, dy] = turned([-way[0], -way[1]], side === "left" ? -cut : cut);
  return [x + mm * dx, y + mm * dy];
}

// How far one can go from the ghost ball on that ray before the nose of a cushion.
function room(meets, side, cut, [length, width]) {
  const [dx, dy] = turned([-meets.way[0], -meets.way[1]], side === "left" ? -cut : cut);
  const along = dx > 0 ? (length - meets.x) / dx : dx < 0 ? -meets.x / dx : Infinity;
  const across = dy > 0 ? (width - meets.y) / dy : dy < 0 ? -meets.y / dy : Infinity;
  return Math.max(Math.min(along, across) - 30, 60);
}

function leave() {
  const { shot, told, zone, isWaiting } = current();
  if (!told || isWaiting || shot.zone || stepOf(shot) !== "ready" || !shot.next) return null;
  const ball = told.balls.find((each) => each.id === shot.next);
  const pocket = told.pockets.find((each) => each.name === shot.next_pocket);
  if (!ball || !pocket) return null;
  const meets = ghost(ball, pocket);
  const wanted = zone?.zone?.wanted_mm;
  const cross = wanted ? meets.way[0] * (wanted[1] - ball.y) - meets.way[1] * (wanted[0] - ball.x) : 1;
  const side = shot.side === "either" ? (cross > 0 ? "left" : "right") : shot.side;
  return { shot, told, meets, side };
}

// -- grips -------------------------------------------------------------------------------------

function draw() {
  showSteppers();
  const over = group("grips", "over");
  const here = leave();
  if (!over || !here) return;
  const { shot, told, meets, side } = here;
  const [low, high] = shot.cut_deg;
  const middle = (low + high) / 2;
  const most = room(meets, side, middle, told.surface_mm);
  const far = Math.min(shot.distance_mm[1] ?? MOST_MM, most);
  const near = Math.min(shot.distance_mm[0], far);
  if (held) {
    const ends = shot.side === "either" ? ["left", "right"] : [shot.side];
    for (const end of ends) add(over, "path", { class: "wedge", d: wedge(meets, end, shot, told) });
  }
  const half = (near + far) / 2;
  const grips = {
    near: [middle, Math.max(near, 55)],
    far: [middle, far],
    cut_low: [low, Math.min(half, room(meets, side, low, told.surface_mm))],
    cut_high: [high, Math.min(half, room(meets, side, high, told.surface_mm))],
  };
  for (const [name, [cut, mm]] of Object.entries(grips)) {
    grip(over, name, place(meets, side, cut, mm), meets, told);
  }
}

function wedge(meets, side, { cut_deg: [low, high], distance_mm: [near, far] }, told) {
  const outer = [];
  const inner = [];
  for (let k = 0; k <= 12; k += 1) {
    const cut = low + ((high - low) * k) / 12;
    const most = room(meets, side, cut, told.surface_mm) + 30;
    outer.push(place(meets, side, cut, Math.min(far ?? MOST_MM, most)));
    inner.push(place(meets, side, cut, Math.min(near, most)));
  }
  return pathOf([[...outer, ...inner.reverse()]], told);
}

function grip(over, name, where, meets, told) {
  const [x, y] = at(where, told);
  const [gx, gy] = at([meets.x, meets.y], told);
  const isRound = name.startsWith("cut");
  const angle = (Math.atan2(y - gy, x - gx) * 180) / Math.PI + (isRound ? 90 : 0);
  const made = add(over, "g", { class: "grip", "data-grip": name, transform: `translate(${x} ${y}) rotate(${angle})` });
  const scale = (GRIP_PX * mmPerPx()) / 26;
  add(made, "circle", { class: "hold", r: HOLD_PX * mmPerPx() });
  add(made, "circle", { r: 26, transform: `scale(${scale})` });
  add(made, "path", { d: "M-9,-6 L-15,0 L-9,6 M9,-6 L15,0 L9,6 M-15,0H15", transform: `scale(${scale})` });
}

function drag(event) {
  const here = leave();
  if (!here) return;
  const { shot, told, meets } = here;
  const [x, y] = placeOf(event, told);
  const [dx, dy] = [x - meets.x, y - meets.y];
  const mm = Math.round(Math.hypot(dx, dy) / 10) * 10;
  const along = -(dx * meets.way[0] + dy * meets.way[1]);
  const across = Math.abs(dx * meets.way[1] - dy * meets.way[0]);
  const cut = Math.round((Math.atan2(across, along) * 180) / Math.PI);
  bring({ near: mm, far: mm, cut_low: cut, cut_high: cut }[held], held, shot, { set: false });
}

// Has a limit at a value, held apart from its counterpart.
function bring(value, name, shot, how) {
  const [low, high] = shot.cut_deg;
  const [near, far] = shot.distance_mm;
  const most = far ?? MOST_MM;
  const within = (least, v, greatest) => Math.min(Math.max(v, least), greatest);
  if (name === "cut_low") change({ cut_deg: [within(0, value, high - LEAST_APART_DEG), high] }, how);
  if (name === "cut_high") change({ cut_deg: [low, within(low + LEAST_APART_DEG, value, MOST_CUT)] }, how);
  if (name === "near") change({ distance_mm: [within(0, value, most - LEAST_APART_MM), far] }, how);
  if (name === "far") {
    const limit = within(near + LEAST_APART_MM, value, MOST_MM);
    change({ distance_mm: [near, limit >= MOST_MM ? null : limit] }, how);
  }
  if (name === "cushion") change({ cushion_mm: within(0, value, 300) }, how);
}

const view = document.getElementById("top-view");
view.addEventListener("pointerdown", (event) => {
  const taken = event.target.closest(".grip");
  if (!taken) return;
  held = taken.dataset.grip;
  view.classList.add("holding");
  // the drawing holds the finger: grips are drawn anew while it moves
  drawing().setPointerCapture(event.pointerId);
  event.preventDefault();
});
view.addEventListener("pointermove", (event) => held && drag(event));
for (const kind of ["pointerup", "pointercancel"]) {
  view.addEventListener(kind, () => {
    if (!held) return;
    held = null;
    view.classList.remove("holding");
    draw();
    settle();
  });
}
// without it a touch on a grip would scroll the page instead
view.addEventListener("touchstart", (event) => event.target.closest(".grip") && event.preventDefault(), { passive: false });

// -- steppers ----------------------------------------------------------------------------------

function showSteppers() {
  const { shot, told } = current();
  if (!told) return;
  const [low, high] = shot.cut_deg;
  const [near, far] = shot.distance_mm;
  const length = (mm) => (mm === null ? "no limit" : `${(mm / told.unit_mm).toFixed(DIGITS[told.sign])} ${told.sign}`);
  const words = { cut_low: `${low}°`, cut_high: `${high}°`, near: length(near), far: length(far), cushion: length(shot.cushion_mm) };
  for (const stepper of box.querySelectorAll("[data-limit]")) {
    stepper.querySelector("output").textContent = words[stepper.dataset.limit];
  }
  for (const button of box.querySelectorAll("[data-side]")) {
    button.setAttribute("aria-pressed", String(button.dataset.side === shot.side));
  }
}

box.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const { shot, told } = current();
  if (button.dataset.side) return change({ side: button.dataset.side });
  const name = button.parentElement.dataset.limit;
  const way = Number(button.dataset.step);
  const [coarse, fine] = STEPS[told.sign];
  const step = name.startsWith("cut") ? 5 : (name === "cushion" ? fine : coarse) * told.unit_mm;
  const now = { cut_low: shot.cut_deg[0], cut_high: shot.cut_deg[1], near: shot.distance_mm[0], far: shot.distance_mm[1] ?? MOST_MM, cushion: shot.cushion_mm }[name];
  // to the next whole step
  bring(Math.round(now / step + way) * step, name, shot);
});
onShot(draw);

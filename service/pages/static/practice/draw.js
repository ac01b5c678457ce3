// Zones and ways drawn by a finger on the table.

import { change, current, onShot } from "./plan.js";
import { add, at, drawing, ghost, group, mmPerPx, pathOf, placeOf } from "./table.js";

const LEAST_RADIUS_MM = 40;
const USUAL_RADIUS_MM = 150; // a touch without a drag
const OUTLINE_OFF_MM = 8;
const WAY_OFF_MM = 45; // rail contacts stay as corners, a finger's tremble does not
const LEAST_POINTS = 3;
const STEP_PX = 4;
const view = document.getElementById("top-view");
const tools = document.getElementById("tools");
let mode = null;
let trace = null;
let hasDrawn = false; // by the touch that is just ending

function choose(wanted) {
  mode = mode === wanted ? null : wanted;
  for (const button of tools.querySelectorAll("[data-draw]")) {
    button.setAttribute("aria-pressed", String(button.dataset.draw === mode));
  }
  view.classList.toggle("holding", mode !== null);
}

const onBed = ([x, y], [length, width]) => [Math.min(Math.max(x, 0), length), Math.min(Math.max(y, 0), width)];
const round = (place) => place.map((v) => Math.round(v));

function show() {
  const over = group("trace", "over");
  const { told } = current();
  if (!over || !trace) return;
  if (mode === "circle") {
    const [cx, cy] = at(trace[0], told);
    add(over, "circle", { class: "drawn", cx, cy, r: radius() });
  } else add(over, "path", { class: mode === "route" ? "way" : "drawn", d: pathOf([trace], told, { close: false }) });
}

function radius() {
  const [x, y] = trace[0];
  const [ex, ey] = trace.at(-1);
  const drawn = Math.hypot(ex - x, ey - y);
  return drawn < LEAST_RADIUS_MM ? USUAL_RADIUS_MM : drawn;
}

// The points of a line without those that lie within `off` mm of the line through their neighbours.
function simple(points, off) {
  if (points.length < 3) return points;
  const [ax, ay] = points[0];
  const [bx, by] = points.at(-1);
  const size = Math.hypot(bx - ax, by - ay);
  const away = ([x, y]) => (size < 1 ? Math.hypot(x - ax, y - ay) : Math.abs((bx - ax) * (ay - y) - (ax - x) * (by - ay)) / size);
  let most = 0;
  let where = 0;
  points.forEach((point, k) => {
    if (k && k < points.length - 1 && away(point) > most) [most, where] = [away(point), k];
  });
  if (most <= off) return [points[0], points.at(-1)];
  return [...simple(points.slice(0, where + 1), off).slice(0, -1), ...simple(points.slice(where), off)];
}

function finish() {
  const { shot, told } = current();
  const made = { circle: circle, shape: shape, route: route }[mode](shot, told);
  trace = null;
  hasDrawn = true;
  show();
  choose(mode);
  if (made) change(made);
}

const circle = () => ({ zone: { circle_mm: [...round(trace[0]), Math.round(radius())] }, route_mm: null });

function shape() {
  const corners = simple([...trace, trace[0]], OUTLINE_OFF_MM).slice(0, -1).map(round);
  return corners.length < LEAST_POINTS ? null : { zone: { polygon_mm: corners } };
}

// A way begins where the cue ball touches the ball to pot.
function route(shot, told) {
  const ball = told.balls.find((each) => each.id === shot.pot);
  const pocket = told.pockets.find((each) => each.name === shot.pocket);
  const way = simple(trace, WAY_OFF_MM);
  if (ball && pocket) {
    const meets = ghost(ball, pocket);
    way[0] = [meets.x, meets.y];
  }
  const points = way.map(round).filter((point, k, all) => !k || Math.hypot(point[0] - all[k - 1][0], point[1] - all[k - 1][1]) > 1);
  return points.length < 2 ? null : { route_mm: points };
}

view.addEventListener("pointerdown", (event) => {
  const { told } = current();
  hasDrawn = false;
  if (!mode || !told || !drawing()?.contains(event.target)) return;
  trace = [onBed(placeOf(event, told), told.surface_mm)];
  drawing().setPointerCapture(event.pointerId);
  event.preventDefault();
  show();
});
view.addEventListener("pointermove", (event) => {
  if (!trace) return;
  const { told } = current();
  const next = onBed(placeOf(event, told), told.surface_mm);
  const [x, y] = trace.at(-1);
  if (Math.hypot(next[0] - x, next[1] - y) < STEP_PX * mmPerPx()) return;
  trace.push(next);
  show();
});
view.addEventListener("pointerup", () => trace && finish());
view.addEventListener("pointercancel", () => {
  trace = null;
  show();
});
view.addEventListener("touchstart", (event) => mode && event.preventDefault(), { passive: false });
// the click that ends a drawing chooses no ball
view.addEventListener("click", (event) => (mode || hasDrawn) && event.stopImmediatePropagation(), true);
tools.addEventListener("click", (event) => {
  const button = event.target.closest("[data-draw]");
  if (button) choose(button.dataset.draw);
  if (event.target.closest("#undraw")) change({ zone: null, route_mm: null });
});
onShot(() => {
  const { shot } = current();
  document.getElementById("undraw").hidden = !(shot.zone || shot.route_mm);
});

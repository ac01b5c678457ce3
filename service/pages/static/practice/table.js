// The drawn table: what lies where, what a finger meant, and marks of the page's own on it.

const SVG = "http://www.w3.org/2000/svg";
const NEAR_PX = 30; // a finger's aim; balls are small on a phone
const POCKET_PX = 60;
export const BALL_MM = 57.15;

const holder = () => document.getElementById("top-view");

/** The drawing; null before the first still. */
export const drawing = () => holder().querySelector(":scope > svg");

/** What lies on the drawn table, as the service told it; null before the first still. */
export function scene() {
  const told = holder().dataset.scene;
  return told ? JSON.parse(told) : null;
}

/** A place of the table, in the drawing. */
export function at(place, { surface_mm: [length, width], turn }) {
  const [x, y] = place;
  return [[x, width - y], [width - y, length - x], [length - x, y], [y, x]][turn];
}

/** A place in the drawing, on the table. */
export function back(point, { surface_mm: [length, width], turn }) {
  const [x, y] = point;
  return [[x, width - y], [length - y, width - x], [length - x, y], [y, x]][turn];
}

/** Where a finger is, on the table. */
export function placeOf(event, told) {
  const here = drawing();
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(here.getScreenCTM().inverse());
  return back([point.x, point.y], told);
}

/** How many mm a px of the screen is on the drawn table. */
export const mmPerPx = () => 1 / drawing().getScreenCTM().a;

/** The ball nearest to a finger, where one was meant; `not` are names that cannot be. */
export function ballNear(event, told, not = []) {
  const balls = told.balls.filter((ball) => !not.includes(ball.id));
  return nearest(balls, placeOf(event, told), NEAR_PX);
}

/** The pocket nearest to a finger, where one was meant. */
export function pocketNear(event, told) {
  return nearest(told.pockets, placeOf(event, told), POCKET_PX);
}

function nearest(things, [x, y], px) {
  const most = Math.max(px * mmPerPx(), BALL_MM / 2);
  const away = (thing) => Math.hypot(thing.x - x, thing.y - y);
  const found = things.toSorted((a, b) => away(a) - away(b))[0];
  return found && away(found) <= most ? found : null;
}

/** A new element of the drawing under `parent`. */
export function add(parent, tag, attributes) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  parent.append(made);
  return made;
}

/** An emptied group of the page's own: `under` the balls or `over` everything. */
export function group(name, place) {
  const here = drawing();
  if (!here) return null;
  let found = here.querySelector(`:scope > #own-${name}`);
  if (!found) {
    found = document.createElementNS(SVG, "g");
    found.id = `own-${name}`;
    const balls = here.querySelector(":scope > .balls");
    if (place === "under") here.insertBefore(found, balls);
    else here.append(found);
  }
  found.replaceChildren();
  return found;
}

/** Path data of rings of places. */
export function pathOf(rings, told, { close = true } = {}) {
  const text = (ring) => ring.map((place) => at(place, told).map((v) => v.toFixed(1)).join(",")).join("L");
  return rings.map((ring) => `M${text(ring)}${close ? "Z" : ""}`).join("");
}

/** Where the cue ball must be when it touches the ball that goes to the aim point. */
export function ghost(ball, pocket) {
  const [dx, dy] = [pocket.x - ball.x, pocket.y - ball.y];
  const size = Math.hypot(dx, dy) || 1;
  return { x: ball.x - (BALL_MM * dx) / size, y: ball.y - (BALL_MM * dy) / size, way: [dx / size, dy / size] };
}

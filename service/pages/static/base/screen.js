// What the reader chose for this screen. The browser keeps it; the service reads the cookies.

const YEAR_S = 31536000;
const dialog = document.getElementById("screen");
const listeners = new Set();
let changed = null; // the screen's shape differed from the kept one when the page was loaded

/** Has `listener(name)` called when a choice changed: units, look, turn, voice, tone, or the
 * screen's own shape, which is not chosen. */
export function onChoice(listener) {
  listeners.add(listener);
  if (changed) queueMicrotask(() => listener(changed));
}

/** What was chosen, as text; empty where nothing was. */
export function chosen(name) {
  const held = document.cookie.split("; ").find((part) => part.startsWith(`restmark-${name}=`));
  return held ? decodeURIComponent(held.slice(`restmark-${name}=`.length)) : "";
}

/** Keeps a choice, a year long; an empty one is forgotten. */
export function choose(name, value) {
  const age = value === "" ? 0 : YEAR_S;
  const kept = encodeURIComponent(value);
  document.cookie = `restmark-${name}=${kept}; path=/; max-age=${age}; samesite=strict`;
  for (const listener of listeners) listener(name);
}

const open = document.getElementById("screen-open");
open.hidden = false;
open.addEventListener("click", () => {
  for (const name of ["voice", "tone"]) document.getElementById(name).checked = chosen(name) === "on";
  dialog.showModal();
});
dialog.addEventListener("change", (event) => {
  const { id, value, checked, type } = event.target;
  if (id === "at-table") return lookAt(value);
  choose(id, type === "checkbox" ? (checked ? "on" : "") : value);
  if (id === "look") document.documentElement.dataset.look = value;
});

// Another table: the same page of it, from its beginning; addresses carry it on.
function lookAt(table) {
  location.assign(table === "1" ? location.pathname : `${location.pathname}?table=${table}`);
}

// a touch beside the question closes it
dialog.addEventListener("click", (event) => event.target === dialog && dialog.close());

// a phone held upright shows the table standing on its end, one on its side shows it small with
// larger words; the service draws it so
const TALL_BELOW_PX = 600;
const LOW_UP_TO_PX = 520;
const tall = matchMedia(`(max-width: ${TALL_BELOW_PX - 1}px) and (orientation: portrait)`);
const low = matchMedia(`(max-height: ${LOW_UP_TO_PX}px) and (orientation: landscape)`);
const shapeNow = () => (tall.matches ? "tall" : low.matches ? "low" : "");

function keepShape() {
  if (chosen("shape") !== shapeNow()) choose("shape", shapeNow());
}
tall.addEventListener("change", keepShape);
low.addEventListener("change", keepShape);
if (chosen("shape") !== shapeNow()) {
  changed = "shape";
  keepShape();
}

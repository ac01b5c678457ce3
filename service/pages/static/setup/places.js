// The table's named places: their names, in words, and where they lie in a drawing of the table.

const SIGHTS = [
  ...["left", "right"].flatMap((side) => [1, 2, 3, 5, 6, 7].map((k) => `${side}-${k}`)),
  ...["head", "foot"].flatMap((end) => [1, 2, 3].map((k) => `${end}-${k}`)),
];
const POCKETS = ["head-left", "head-right", "side-left", "side-right", "foot-left", "foot-right"];
const NOSE_POINTS = POCKETS.flatMap((pocket) => [`${pocket}/1`, `${pocket}/2`]);
const SPOTS = ["head spot", "centre spot", "foot spot"];

/** Every name, by kind. */
export const NAMES = { Diamonds: SIGHTS, "Points of pockets": NOSE_POINTS, Spots: SPOTS };
/** The order in which somebody is asked for places: six that show each other's faults, then more. */
export const TAP_ORDER = [
  "left-1", "left-7", "right-7", "right-1", "head-2", "foot-2", "left-3", "right-5", "left-5",
  "right-3", "head-1", "foot-3", "head-3", "foot-1", "left-2", "left-6", "right-2", "right-6",
];

/** A name in words. */
export function words(name) {
  if (name.endsWith(" spot")) return name;
  if (name.includes("/")) {
    const [pocket, number] = name.split("/");
    return `${pocket} pocket, its ${number === "1" ? "left" : "right"} point`;
  }
  const [side, number] = name.split("-");
  const rail = side === "left" || side === "right" ? `${side} long rail` : `${side} rail`;
  return `diamond ${number} of the ${rail}`;
}

const WIDE = 200;
const HIGH = 100;
const RAIL = 14;

// In drawing units with the head end on the left; x along the table, y across it from the right.
function spot(name) {
  if (name.endsWith(" spot")) return { head: [50, 50], centre: [100, 50], foot: [150, 50] }[name.split(" ")[0]];
  const corner = (pocket) => {
    const [end, side] = pocket.split("-");
    return [{ head: 0, side: WIDE / 2, foot: WIDE }[end], side === "left" ? HIGH : 0];
  };
  if (name.includes("/")) {
    const [pocket, number] = name.split("/");
    const [x, y] = corner(pocket);
    const first = number === "1";
    // the left point is the one on the left of somebody on the bed who looks into the pocket
    const shifts = {
      "head-left": [[0, -11], [11, 0]],
      "head-right": [[11, 0], [0, 11]],
      "side-left": [[-9, 0], [9, 0]],
      "side-right": [[9, 0], [-9, 0]],
      "foot-left": [[-11, 0], [0, -11]],
      "foot-right": [[0, 11], [-11, 0]],
    };
    const [dx, dy] = shifts[pocket][first ? 0 : 1];
    return [x + dx, y + dy];
  }
  const [side, number] = name.split("-");
  const k = Number(number);
  if (side === "left") return [(WIDE * k) / 8, HIGH + RAIL / 2];
  if (side === "right") return [(WIDE * k) / 8, -RAIL / 2];
  return [side === "head" ? -RAIL / 2 : WIDE + RAIL / 2, (HIGH * k) / 4];
}

// As the picture shows the table, seen from above: turned, never mirrored.
function turned([x, y], head) {
  return { left: [x, HIGH - y], right: [WIDE - x, y], top: [y, x], bottom: [HIGH - y, WIDE - x] }[head];
}

function make(tag, attributes, parent) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  parent?.append(element);
  return element;
}

/** Draws the table into `svg` as it lies in the picture, with the places of `names` marked. */
export function drawTable(svg, names, head = "left") {
  const upright = head === "top" || head === "bottom";
  const [wide, high] = upright ? [HIGH, WIDE] : [WIDE, HIGH];
  svg.setAttribute("viewBox", `${-RAIL - 4} ${-RAIL - 4} ${wide + 2 * RAIL + 8} ${high + 2 * RAIL + 8}`);
  svg.replaceChildren();
  make("rect", { class: "d-rail", x: -RAIL, y: -RAIL, width: wide + 2 * RAIL, height: high + 2 * RAIL, rx: 5 }, svg);
  make("rect", { class: "d-cloth", x: 0, y: 0, width: wide, height: high }, svg);
  for (const pocket of POCKETS) {
    const [end, side] = pocket.split("-");
    const at = [{ head: 0, side: WIDE / 2, foot: WIDE }[end], side === "left" ? HIGH : 0];
    const [x, y] = turned(at, head);
    make("circle", { class: "d-hole", cx: x, cy: y, r: 7 }, svg);
  }
  for (const sight of SIGHTS) {
    const [x, y] = turned(spot(sight), head);
    make("path", { class: "d-sight", d: `M${x - 3} ${y}L${x} ${y - 3}L${x + 3} ${y}L${x} ${y + 3}Z` }, svg);
  }
  const [x, y] = turned([16, HIGH / 2], head);
  const text = make("text", { class: "d-head", x, y: y + 4, "text-anchor": "middle" }, svg);
  text.textContent = "head";
  for (const name of names.filter(Boolean)) {
    const [u, v] = turned(spot(name), head);
    make("circle", { class: "d-asked", cx: u, cy: v, r: 7 }, svg);
  }
}

export { make };

// Marks of the planned shot on the drawing: what may be chosen, what was, and its zone.

import { add, at, BALL_MM, ghost, group, pathOf } from "./table.js";

const RING_MM = BALL_MM * 0.85;

/** What was said of the shot, and what may be tapped next. */
export function drawShot(shot, told, step) {
  const over = group("shot", "over");
  if (!over) return;
  const ball = (id) => told.balls.find((each) => each.id === id);
  const pocket = (name) => told.pockets.find((each) => each.name === name);
  for (const [name, into] of [[shot.pot, shot.pocket], [shot.next, shot.next_pocket]]) {
    if (!name || !ball(name)) continue;
    ring(over, ball(name), told, "chosen-ring", RING_MM);
    if (!pocket(into)) continue;
    way(over, ball(name), pocket(into), told);
    const meets = ghost(ball(name), pocket(into));
    ring(over, meets, told, "ghost-ball", BALL_MM / 2);
  }
  if (step === "pocket" || step === "next_pocket") {
    for (const each of told.pockets) ring(over, each, told, "choice-ring", BALL_MM * 1.35);
  }
  if (shot.route_mm) add(over, "path", { class: "way", d: pathOf([shot.route_mm], told, { close: false }) });
}

/** The zone as the service worked it out; dashed while its balls do not lie there yet. */
export function drawZone(zone, told, isWaiting) {
  const under = group("zone", "under");
  if (!under || !zone || zone.empty) return;
  const rings = zone.polygons_mm.flatMap(({ exterior, holes }) => [exterior, ...holes]);
  add(under, "path", { class: isWaiting ? "plan-zone waiting" : "plan-zone", d: pathOf(rings, told) });
  if (!zone.wanted_mm) return;
  const [x, y] = at(zone.wanted_mm, told);
  add(under, "circle", { class: "plan-wanted", cx: x, cy: y, r: 14 });
  add(under, "path", { class: "plan-wanted", d: `M${x - 28},${y}H${x + 28}M${x},${y - 28}V${y + 28}` });
}

function ring(parent, { x, y }, told, kind, radius) {
  const [cx, cy] = at([x, y], told);
  add(parent, "circle", { class: kind, cx, cy, r: radius });
}

function way(parent, from, to, told) {
  add(parent, "path", { class: "shot-line", d: pathOf([[[from.x, from.y], [to.x, to.y]]], told, { close: false }) });
}

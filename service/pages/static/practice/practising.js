// Practices: a shot repeated until one has enough, a plan played shot by shot, and the end.

import { request } from "../base/ask.js";
import { onReady } from "../base/parts.js";
import { onDo } from "./after.js";
import { current, hush, onShot } from "./plan.js";
import { documentOf } from "./shot.js";

// The shot that would be repeated: the planned one, or the last one played.
function shotToRepeat() {
  const { shot, told } = current();
  return documentOf(shot) ?? told?.last ?? null;
}

// The practice gives its shots itself; one that was set by hand would go before them, uncounted.
onDo("repeat", async () => {
  const way = { kind: "same again", shots: [shotToRepeat()] };
  await hush();
  if (current().told?.pending) await request("DELETE", `/api/v1/intent${location.search}`);
  return ["POST", "/api/v1/practices", { way }];
});
onDo("way", async ({ dataset }) => {
  const shots = "ofShot" in dataset ? { shots: [shotToRepeat()] } : {};
  await hush();
  const more = dataset.way === "pressure" ? { in_a_row: 3 } : {};
  if (dataset.way !== "free" && current().told?.pending) await request("DELETE", `/api/v1/intent${location.search}`);
  return ["POST", "/api/v1/practices", { way: { kind: dataset.way, ...shots, ...more } }];
});
onDo("plan", ({ dataset }) => ["POST", "/api/v1/practices", { plan_id: Number(dataset.plan) }]);
onDo("skip", ({ dataset }) => ["POST", `/api/v1/practices/${dataset.practice}/skip`, { place: Number(dataset.place) }]);
onDo("finish", ({ dataset }) => ["PATCH", `/api/v1/practices/${dataset.practice}`, { finished: true }]);

function offer() {
  const isThere = Boolean(shotToRepeat());
  for (const each of document.querySelectorAll("#repeat, #practising [data-of-shot]")) each.hidden = !isThere;
}

onShot(offer);
onReady((where) => (where === document || where.id === "practising") && offer());

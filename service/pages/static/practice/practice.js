// The practice page: every live change fetches its parts again; what is being planned stays.

import { act, say } from "../base/ask.js";
import { onChange } from "../base/live.js";
import { refresher } from "../base/parts.js";
import { choose, chosen, onChoice } from "../base/screen.js";
import "./naming.js";
import "./plan.js";
import "./limits.js";
import "./draw.js";
import "./layers.js";
import "./after.js";
import "./practising.js";
import "./awake.js";
import { refresh } from "./parts.js";
import { scene } from "./table.js";

async function send(input) {
  const file = input.files[0];
  if (!file) return;
  const [method, path] = input.dataset.send.split(" ");
  const isStill = method === "POST";
  const words = isStill ? "Reading the still …" : "Setting the calibration …";
  say("busy", words);
  const query = new URLSearchParams(location.search);
  if (isStill) query.set("name", file.name);
  await act(method, `${path}?${query}`, file, { words, type: isStill ? "application/octet-stream" : undefined });
  input.value = "";
}

document.addEventListener("change", (event) => {
  if (event.target.matches("input[data-send]")) send(event.target);
});
document.getElementById("turn").addEventListener("click", () => {
  choose("turn", String(((scene()?.turn ?? Number(chosen("turn"))) + 1) % 4));
});
document.getElementById("tools").hidden = false;
// what the practice adds up to comes after the verdict
const refreshSoFar = refresher(() => `/so-far${location.search}`);
onChange(() => refresh().then(refreshSoFar));
onChoice((name) => ["units", "turn", "shape"].includes(name) && refresh().then(refreshSoFar));

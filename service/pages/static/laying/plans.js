// The plans: a new one, one played, one put away and brought back.

import { act } from "../base/ask.js";
import { onChange } from "../base/live.js";
import { onReady, refresher } from "../base/parts.js";
import { onChoice } from "../base/screen.js";
import { playPlan } from "./play.js";
import { freshTitle } from "./titles.js";

const API = "/api/v1/plans";
const refresh = refresher(() => `/plans/parts${location.search}`);
const table = new URLSearchParams(location.search).get("table");

async function begin() {
  const outcome = await act("POST", API, { title: freshTitle(), plan: { shots: [] } });
  if (outcome.ok) location.assign(`/plans/${outcome.body.id}${table ? `?table=${encodeURIComponent(table)}` : ""}`);
}

const doings = {
  play: (number) => playPlan(number),
  strike: (number) => act("POST", `${API}/${number}/strike`).then(refresh),
  restore: (number) => act("POST", `${API}/${number}/restore`).then(refresh),
};

document.addEventListener("click", (event) => {
  if (event.target.closest("#new-plan")) begin();
  const button = event.target.closest("[data-do]");
  if (button) doings[button.dataset.do](button.closest("[data-number]").dataset.number);
});
document.getElementById("new-plan").hidden = false;
onReady((where) => {
  for (const hidden of where.querySelectorAll("[data-scripted]")) hidden.hidden = false;
});
onChange((change) => ["hello", "plan", "practice"].includes(change.kind) && refresh());
onChoice((name) => name === "units" && refresh());

// A plan is played: a practice with it begins, and the practice page shows its first shot.

import { act } from "../base/ask.js";

/** Begins a practice of the plan at this page's table. */
export async function playPlan(number) {
  const table = new URLSearchParams(location.search).get("table");
  const at = table ? `?table=${encodeURIComponent(table)}` : "";
  const outcome = await act("POST", `/api/v1/practices${at}`, { plan_id: Number(number) }, { words: "Beginning …" });
  if (outcome.ok) location.assign(`/${at}`);
  return outcome;
}

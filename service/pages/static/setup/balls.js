// The ball set, taught from one still: it is read, every name is looked at, then it is learned.

import { act } from "../base/ask.js";
import { setOff } from "../base/off.js";
import { onTake } from "./source.js";
import { ask, refuse } from "./work.js";

const byId = (id) => document.getElementById(id);
const called = (name) => (name === "cue" ? "cue ball" : `ball ${name}`);

// A still that ends a shot must not be one that teaches: the part says whether a shot waits.
async function fetchPart(reading = null) {
  const search = new URLSearchParams(location.search);
  if (reading) search.set("reading", reading);
  const answer = await fetch(`/setup/taught?${search}`, { cache: "no-store" }).catch(() => null);
  if (!answer?.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  byId("taught").replaceChildren(...fresh.body.childNodes);
  sayTwice();
}

async function read(still) {
  await fetchPart();
  if (!byId("shot-waits").hidden) return;
  byId("balls-work").hidden = false;
  byId("balls-doing").textContent = "Looking where the balls lie …";
  const answer = await ask("POST", `/stills/${still.id}/read${location.search}`);
  byId("balls-work").hidden = true;
  refuse("balls-refusal", answer.ok ? null : { headline: answer.body?.title ?? answer.detail, to_do: answer.detail });
  if (answer.ok) await fetchPart(answer.body.reading.id);
}

function picked() {
  return Array.from(document.querySelectorAll("#naming-all li"), (row) => {
    const [x_mm, y_mm] = row.dataset.place.split(" ").map(Number);
    return { id: row.querySelector("select").value || null, x_mm, y_mm };
  });
}

function sayTwice() {
  const names = picked().flatMap(({ id }) => id ?? []);
  const twice = [...new Set(names.filter((name, k) => names.indexOf(name) !== k))];
  const line = document.querySelector("#naming-all .twice");
  if (line) line.textContent = twice.length ? `Chosen more than once: ${twice.map(called).join(", ")}.` : "";
}

async function learn(form) {
  const button = form.querySelector("[type=submit]");
  setOff(button, true);
  const path = `/api/v1/readings/${form.dataset.reading}/names`;
  const outcome = await act("POST", path, { names: picked() }, { words: "Learning the set …" });
  setOff(button, false);
  const refused = outcome.ok && !outcome.body.learned.made ? outcome.body.learned.detail : "";
  if (!outcome.ok || refused) {
    refuse("balls-refusal", { headline: outcome.body?.title ?? "The set learned nothing", to_do: refused || outcome.detail });
    return;
  }
  refuse("balls-refusal", null);
  const known = outcome.body.taught.length;
  document.querySelector("[data-state-of=balls]").textContent = `${known} of 16 known`;
  const said = document.createElement("p");
  said.className = "headline small";
  said.setAttribute("role", "status");
  said.textContent = `${known} of 16 balls of this set are known by their look.`;
  byId("taught").replaceChildren(said);
}

/** Looks whether a shot waits when the step is looked at. */
export function onStep(step) {
  if (step === "balls" && !document.getElementById("naming-all")) fetchPart();
}

onTake("balls", "balls-refusal", read);
byId("taught").addEventListener("change", sayTwice);
byId("taught").addEventListener("submit", (event) => {
  event.preventDefault();
  learn(event.target);
});

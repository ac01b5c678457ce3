// A player's hand and reach: places where the cue ball can just still be played, one still each.

import { act, request } from "../base/ask.js";
import { setOff } from "../base/off.js";
import { onTake } from "./source.js";
import { refuse, work } from "./work.js";

const byId = (id) => document.getElementById(id);
const places = [];
let found = null;

const picked = (name) => document.querySelector(`[name=${name}]:checked`);

function wayWords() {
  return picked("way").closest("label").querySelector("b").textContent;
}

async function add(still) {
  const [hand, side] = picked("way").value.split(" ");
  places.push({ still, bridge: hand === "bridge", side, words: wayWords() });
  show();
  await learn();
}

function show() {
  byId("reach-none").hidden = places.length > 0;
  byId("reach-places").replaceChildren(...places.map((place, k) => {
    const item = document.createElement("li");
    const image = document.createElement("img");
    image.src = place.still.picture;
    image.alt = "";
    const text = document.createElement("span");
    text.textContent = place.words;
    const out = document.createElement("button");
    out.type = "button";
    out.className = "button quiet";
    out.textContent = "Leave out";
    out.setAttribute("aria-label", `Leave out place ${k + 1}: ${place.words}`);
    out.addEventListener("click", () => {
      places.splice(k, 1);
      show();
      learn();
    });
    item.append(image, text, out);
    return item;
  }));
}

async function learn() {
  found = null;
  setOff(byId("reach-keep"), true);
  byId("reach-lines").replaceChildren();
  refuse("reach-refusal", null);
  byId("reach-keep").textContent = places.length ? "Keep hand and reach" : "Keep the hand";
  setOff(byId("reach-keep"), places.length > 0);
  if (!places.length) return;
  const asked = {
    places: places.map(({ still, bridge, side }) => ({ still: still.id, bridge, side })),
    handedness: picked("handedness").value,
  };
  const count = places.length;
  const outcome = await work("POST", `/reach${location.search}`, asked, { id: "reach", isStale: () => places.length !== count });
  if (outcome.stale) return;
  if (!outcome.ok) {
    refuse("reach-refusal", { headline: outcome.headline, to_do: `${outcome.to_do} (${outcome.detail})` });
    return;
  }
  found = outcome.work.result;
  byId("reach-lines").replaceChildren(...found.lines.map((line) => {
    const item = document.createElement("li");
    item.textContent = line;
    return item;
  }));
  setOff(byId("reach-keep"), false);
}

// Without any place the hand alone is kept, beside what was known of the player before.
async function settings() {
  if (found) return found.player;
  const now = await request("GET", `/api/v1/player${location.search}`);
  return now.ok ? { ...now.body.player, handedness: picked("handedness").value } : null;
}

async function keep() {
  const outcome = await act("PUT", `/api/v1/player${location.search}`, await settings());
  byId("reach-said").textContent = outcome.ok ? "Kept: zones and attempts go by it from now on." : "";
  if (!outcome.ok) refuse("reach-refusal", { headline: outcome.body?.title ?? outcome.detail, to_do: outcome.detail });
  else document.querySelector("[data-state-of=reach]").textContent = "set";
}

onTake("reach", "reach-refusal", add);
byId("handedness").addEventListener("change", learn);
byId("reach-keep").addEventListener("click", keep);

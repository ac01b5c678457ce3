// The empty table: still, what is found, what a person puts right, how good it is, taking it over.

import { act } from "../base/ask.js";
import { setOff } from "../base/off.js";
import { keep, kept } from "./kept.js";
import { Loupe } from "./loupe.js";
import { drawTable, NAMES, TAP_ORDER, words } from "./places.js";
import { onTake } from "./source.js";
import { Stage } from "./stage.js";
import { missing, told } from "./table.js";
import { ask, inUnits, refuse, work } from "./work.js";

const SOON_MS = 900; // after the last move it is worked out again
const HAND_PX = 1.5; // a place by finger is right to so much, per axis
const FEWEST = 4;
const CHECKED = 6;
const NARROW = matchMedia("(max-width: 700px)");
const byId = (id) => document.getElementById(id);
const STANDING = {
  found: "It was found here",
  expected: "It was not seen; here it should be",
  "by hand": "You put it here",
  "set aside": "It was seen here, but does not agree with the others and was left out",
};
const points = new Map();
let still = null;
let proposal = null;
let isTapping = false;
let chosen = "";
let run = 0;
let soon = 0;

const stage = new Stage(byId("stage"), { choose, move, tap });
const loupe = new Loupe(byId("loupe"), (du, dv, done) => stage.nudge(du, dv, done));
const head = () => document.querySelector("[name=head]:checked")?.value ?? "";

// -- the still -----------------------------------------------------------------------------

function showStill(taken) {
  still = taken;
  keep("empty", taken.id);
  points.clear();
  proposal = null;
  isTapping = false;
  byId("empty-view").hidden = false;
  stage.showStill(taken);
  stage.showHead(head());
  choose("");
  showResult(null);
}

async function taken(fresh) {
  showStill(fresh);
  const lack = lacking();
  if (!lack) {
    await find();
    return;
  }
  byId("empty-headline").textContent = lack;
  showWayOut();
  if (!head()) byId("head").querySelector("input").focus({ preventScroll: true });
}

// What is lacking beside the still is set at another step: a tap leads there.
function showWayOut() {
  byId("to-scale").hidden = !(still && head() && missing());
}

// Which end is which is never guessed: the wrong one would give a calibration that looks right.
function lacking() {
  if (!still) return "Take a still of the empty table first.";
  return head() ? missing() : "Say below the still where the head end is.";
}

/** Goes on by itself once what lacked was set at another step. */
export function onStep(step) {
  if (step === "empty" && still && head() && !proposal && !byId("find").disabled && !lacking()) find();
}

// -- working it out ------------------------------------------------------------------------

async function find() {
  clearTimeout(soon);
  const lack = lacking();
  showWayOut();
  if (lack) {
    byId("empty-headline").textContent = lack;
    return;
  }
  refuse("empty-refusal", null);
  run += 1;
  const own = run;
  setOff(byId("find"), true);
  const asked = {
    ...told(),
    still: still.id,
    head: head(),
    points: [...points].map(([name, [u, v]]) => ({ is: name, u, v, sigma_px: HAND_PX })),
    points_only: byId("points-only").checked,
    accept_balls: byId("accept-balls").checked,
  };
  const outcome = await work("POST", "/calibrations", asked, { id: "empty", isStale: () => own !== run });
  if (outcome.stale) return;
  setOff(byId("find"), false);
  const seen = outcome.work?.result ?? outcome.work?.seen ?? { marks: handMarks() };
  proposal = outcome.ok ? outcome.work : null;
  if (outcome.ok) isTapping = false;
  stage.showFound(seen);
  stage.choose(chosen);
  showResult(outcome);
  choose(stage.mark(chosen) ? chosen : "");
  if (!outcome.ok && !isTapping && !seen.marks?.length && outcome.code === "calibration-refused") askForPlaces();
}

function handMarks() {
  return [...points].map(([name, [u, v]]) => ({ name, kind: kindOf(name), u, v, standing: "by hand" }));
}

function kindOf(name) {
  if (name.endsWith(" spot")) return "spot";
  return name.includes("/") ? "nose point" : "sight";
}

function again() {
  clearTimeout(soon);
  run += 1; // what is under way is of older places
  setOff(byId("find"), false);
  byId("empty-work").hidden = true;
  byId("adopt").hidden = true;
  if (isTapping && !proposal) {
    sayTapping();
    return;
  }
  soon = setTimeout(find, SOON_MS);
}

// -- what came of it -----------------------------------------------------------------------

function lines(id, texts) {
  byId(id).replaceChildren(...texts.map((text) => {
    const item = document.createElement("li");
    item.textContent = text;
    return item;
  }));
}

function showResult(outcome) {
  const result = outcome?.ok ? outcome.work.result : null;
  byId("verdict").dataset.tone = !outcome ? "" : !result ? "out" : result.good ? "in" : "close";
  byId("empty-headline").textContent = result?.headline ?? outcome?.headline ?? "";
  lines("empty-to-do", result ? result.to_do : [outcome?.to_do].filter(Boolean));
  byId("adopt").hidden = !result;
  setOff(byId("adopt"), false);
  byId("adopt").textContent = result && !result.good ? "Use it all the same" : "Use this calibration";
  byId("adopt").classList.toggle("quiet", Boolean(result && !result.good));
  byId("find").textContent = result ? "Find it again" : "Find the table";
  byId("find").classList.toggle("quiet", Boolean(result));
  byId("more-of-it").hidden = !result;
  byId("refusal-whole").hidden = !outcome || outcome.ok || !outcome.detail;
  byId("refusal-detail").textContent = outcome?.detail ?? "";
  byId("accept-balls-line").hidden = outcome?.fields?.about !== "balls" && !byId("accept-balls").checked;
  byId("after-adopt").hidden = true;
  byId("fine").hidden = !outcome;
  if (outcome && !outcome.ok) byId("fine").open = true;
  if (result) showMore(result);
  fillPlaces();
}

function showMore(result) {
  // on a narrow screen the table stands upright, so that its numbers can be read
  byId("error-map").src = `${result.error_map}?turn=${NARROW.matches ? 1 : 0}`;
  byId("error-map").alt = `The error over the bed. ${result.headline}. ${result.blind_words}`;
  byId("blind-words").textContent = result.blind_words;
  byId("blind-words").classList.toggle("refusal", result.blind.share + result.blind.hidden_share > 0);
  byId("empty-facts").replaceChildren(...result.facts.map(([label, value]) => {
    const row = document.createElement("div");
    const term = document.createElement("dt");
    const fact = document.createElement("dd");
    [term.textContent, fact.textContent] = [label, value];
    row.append(term, fact);
    return row;
  }));
  lines("empty-notices", result.notices.map((notice) => notice.detail));
}

async function adopt() {
  setOff(byId("adopt"), true);
  const path = `/api/v1/setup/calibrations/${proposal.id}/adopt${location.search}`;
  const outcome = await act("POST", path, null, { words: "Setting the calibration …" });
  setOff(byId("adopt"), false);
  if (!outcome.ok) {
    refuse("empty-refusal", { headline: outcome.body?.title ?? outcome.detail, to_do: outcome.detail });
    return;
  }
  byId("adopt").hidden = true;
  byId("empty-headline").textContent = `${proposal.result.headline}. This calibration holds now.`;
  document.querySelector("[data-state-of=empty]").textContent = "done";
  document.querySelector(".cameras [aria-current] small").textContent = "calibrated";
  byId("after-adopt").hidden = false;
  byId("after-adopt").querySelector("a").focus();
}

// -- places put right ----------------------------------------------------------------------

function fillPlaces() {
  const groups = Object.entries(NAMES).map(([label, names]) => {
    const group = document.createElement("optgroup");
    group.label = label;
    group.append(...names.map((name) => new Option(`${words(name)}${points.has(name) ? " (by hand)" : ""}`, name)));
    return group;
  });
  byId("place").replaceChildren(new Option("choose one", ""), ...groups);
  byId("place").value = chosen;
}

function choose(name) {
  chosen = name;
  stage.choose(name);
  byId("place").value = name;
  const mark = stage.mark(name);
  byId("put-back").disabled = !points.has(name);
  byId("put-back").textContent = proposal || !isTapping ? "As it was found" : "Take it back";
  for (const button of document.querySelectorAll("[data-nudge]")) button.disabled = !mark;
  byId("loupe").classList.toggle("empty", !mark);
  if (!isTapping) byId("tap-next").textContent = name ? `${words(name)[0].toUpperCase()}${words(name).slice(1)}` : "";
  showAsked();
  if (mark) loupe.show(stage.picture, stage.size, stage.unit, mark.u, mark.v);
  const off = mark?.off_mm === null || mark?.off_mm === undefined ? "" : `, ${mark.off_mm.toFixed(1)} mm from where the others have it`;
  if (isTapping && !proposal) return;
  byId("place-said").textContent = mark ? `${STANDING[mark.standing]}${off}.` : "";
}

// The place that is chosen or asked for, on a small table and in words.
function showAsked() {
  const name = isTapping && nextTap() ? nextTap() : chosen;
  byId("asked").hidden = !name;
  if (name) drawTable(byId("place-diagram"), [name], head() || "left");
}

function move(name, u, v, done) {
  points.set(name, [u, v]);
  loupe.show(stage.picture, stage.size, stage.unit, u, v);
  if (!done) return;
  choose(name);
  fillPlaces();
  again();
}

function nextTap() {
  return TAP_ORDER.find((name) => !points.has(name)) ?? "";
}

function tap(u, v) {
  // a place that was chosen from the list is set by a tap; else the one that is asked for
  const name = chosen && !stage.mark(chosen) ? chosen : isTapping ? nextTap() : "";
  const listed = byId("place").value;
  const set = name || (listed && !stage.mark(listed) ? listed : "");
  if (!set) return;
  stage.place(set, u, v);
  move(set, u, v, true);
}

// Nothing was found: why stays to be read, and the places are asked for one by one.
function askForPlaces() {
  isTapping = true;
  byId("fine").hidden = false;
  choose("");
  sayTapping();
}

function tapPlaces() {
  run += 1;
  isTapping = true;
  proposal = null;
  showResult(null);
  byId("fine").hidden = false;
  byId("fine").open = true;
  stage.showFound({ marks: handMarks() });
  choose("");
  sayTapping();
  byId("stage").scrollIntoView({ block: "nearest" });
}

function sayTapping() {
  const next = nextTap();
  const count = points.size;
  const enough = count < FEWEST
    ? `${FEWEST - count} more ${FEWEST - count === 1 ? "is" : "are"} needed`
    : count < CHECKED
      ? `enough to try; ${CHECKED - count} more and a wrong one shows`
      : "enough: find the table";
  byId("tap-next").textContent = next ? `Tap ${words(next)} in the still` : "Every place is set";
  byId("place-said").textContent = `${count} set: ${enough}.`;
  byId("find").textContent = count >= FEWEST ? `Find the table with ${count} places` : "Find the table";
  byId("find").classList.toggle("quiet", count < FEWEST);
  showAsked();
}

function putBack() {
  points.delete(chosen);
  if (isTapping && !proposal) {
    stage.remove(chosen);
    choose("");
    fillPlaces();
    sayTapping();
    return;
  }
  again();
  byId("place-said").textContent = "It is looked for again.";
}

NARROW.addEventListener("change", () => proposal && showMore(proposal.result));

// -- hands ---------------------------------------------------------------------------------

onTake("empty", "empty-refusal", taken);
byId("find").addEventListener("click", find);
byId("adopt").addEventListener("click", adopt);
byId("tap-places").addEventListener("click", tapPlaces);
byId("put-back").addEventListener("click", putBack);
byId("accept-balls").addEventListener("change", find);
byId("points-only").addEventListener("change", again);
byId("place").addEventListener("change", (event) => choose(event.target.value));
byId("head").addEventListener("change", () => {
  keep("head", head());
  stage.showHead(head());
  showAsked();
  if (still && !(isTapping && !proposal)) find();
});
for (const button of document.querySelectorAll("[data-nudge]")) {
  const [du, dv] = button.dataset.nudge.split(" ").map(Number);
  button.addEventListener("click", () => stage.nudge(du, dv));
}

async function begin() {
  const side = kept("head");
  if (side) document.querySelector(`[name=head][value="${side}"]`).checked = true;
  fillPlaces();
  const number = kept("empty");
  if (!number) return;
  const answer = await ask("GET", inUnits(`/stills/${number}`));
  if (answer.ok && !still) showStill(answer.body);
}
begin();

// Planning by taps: ball, pocket, next ball, its pocket; the zone is there at once and set at once.

import { act, request } from "../base/ask.js";
import { onReady } from "../base/parts.js";
import { drawZone, drawShot } from "./marks.js";
import { holdHere } from "./hold.js";
import { documentOf, emptyShot, keepLimits, shotOf, stepOf } from "./shot.js";
import { ballNear, drawing, pocketNear, scene } from "./table.js";
import { drawNext } from "./next.js";

const SET_AFTER_MS = 450; // taps and steps that follow one another set the shot once
const panel = document.getElementById("plan");
const prompt = document.getElementById("plan-now");
const choices = document.getElementById("plan-choices");
const zoneWords = document.getElementById("plan-zone");
const refusal = document.getElementById("plan-refusal");
const icons = new Map(
  Array.from(document.querySelectorAll("#naming .offer label"), (label) => [
    label.querySelector("input").value,
    label.querySelector("svg"),
  ]),
);
const watchers = new Set();

const page = document.querySelector(".practice");
const mayPlan = document.documentElement.dataset.role !== "viewer";
let shot = emptyShot();
let told = null; // the scene that the shot is planned on
let pendingId = null; // the intent on the service that the shot stands for
let zone = null;
let isZoneToBring = true; // into sight, once since the shot was begun
let isAsking = false; // for the zone
let isStale = false;
let soon = null; // until then taps may follow that change the shot that is to be set
let sending = null; // what is on its way to the service; one at a time, or an older one might stay
let isUnsent = false;
let unseenId = null; // what the service took, until it is told of as what waits
let isOfNext = true; // what the table shows: the shot that is planned, or the one that was judged

/** Has `watcher()` called whenever the shot or its zone changed. */
export function onShot(watcher) {
  watchers.add(watcher);
}

/** The shot, the scene it is planned on, its zone, and whether its balls must be set up first. */
export const current = () => ({ shot, told, zone, isWaiting: Boolean(told) && isWaiting() });

/** Changes the shot, by a finger or a button, and has its zone worked out anew. */
export function change(said, { set = true } = {}) {
  if (page.dataset.focus !== "plan") bringTable();
  holdHere();
  page.dataset.focus = "plan";
  isOfNext = true;
  shot = { ...shot, ...said };
  if ("cut_deg" in said || "distance_mm" in said || "side" in said || "cushion_mm" in said) keepLimits(shot);
  show();
  askZone();
  if (set) setSoon();
}

/** Has a change that was shown already, as while a finger drags, set on the service. */
export const settle = () => setSoon();

// What is planned is seen: a table that was scrolled away comes back.
function bringTable() {
  const { top, bottom } = document.getElementById("top-view").getBoundingClientRect();
  if (bottom < innerHeight / 3) scrollBy(0, top - document.querySelector(".strip").offsetHeight);
}

// On a small screen the zone may lie behind the panel that says what is due. It is brought when no
// further tap on the table is due, and only where less than half of it is seen.
function bringZone() {
  if (stepOf(shot) !== "ready" || page.dataset.focus !== "plan") return;
  isZoneToBring = false;
  const drawn = drawing()?.querySelector("#own-zone .plan-zone")?.getBoundingClientRect();
  if (!drawn || getComputedStyle(panel).position !== "sticky") return;
  const stripBottom = document.querySelector(".strip").offsetHeight;
  const panelTop = panel.getBoundingClientRect().top;
  const seen = Math.min(drawn.bottom, panelTop) - Math.max(drawn.top, stripBottom);
  if (seen >= drawn.height / 2) return;
  scrollBy(0, Math.min(drawn.bottom - panelTop + 12, drawn.top - stripBottom - 12));
  holdHere();
}

// -- the service -----------------------------------------------------------------------------

// One question at a time: while a finger drags, the newest is asked when the last was answered.
async function askZone() {
  isStale = true;
  if (isAsking) return;
  isAsking = true;
  while (isStale) {
    isStale = false;
    const intent = documentOf(shot);
    if (!intent) {
      isZoneToBring = true;
      break;
    }
    // on the layout that is shown: a shot may have been played since
    const asked = told?.is_clear ? { intent, reading: told.reading } : { intent };
    const outcome = await request("POST", `/api/v1/zone${location.search}`, asked);
    if (documentOf(shot) === null) break;
    zone = outcome.ok ? outcome.body : null;
    refuse(outcome.ok ? "" : outcome.detail);
    show();
    if (isZoneToBring && zone) bringZone();
  }
  isAsking = false;
}

function setSoon() {
  notSoon();
  if (documentOf(shot)) soon = setTimeout(set, SET_AFTER_MS);
}

function notSoon() {
  clearTimeout(soon);
  soon = null;
}

function set() {
  soon = null;
  isUnsent = true;
  sending ??= send();
}

async function send() {
  while (isUnsent) {
    isUnsent = false;
    const intent = documentOf(shot);
    if (!intent) break;
    const outcome = await act("PUT", `/api/v1/intent${location.search}`, intent, { words: "Setting the shot …" });
    if (outcome.ok) pendingId = unseenId = outcome.body.id;
    else refuse(outcome.detail);
  }
  sending = null;
}

/** Resolves when nothing more of what was said goes to the service by itself. */
export async function hush() {
  notSoon();
  isUnsent = false;
  await sending;
}

async function withdraw() {
  await hush();
  const outcome = await act("DELETE", `/api/v1/intent${location.search}`);
  if (outcome.ok || outcome.status === 404) startOver();
}

/** Nothing was said of the next shot; what waits on the service goes on waiting until then. */
export function startOver() {
  notSoon();
  shot = emptyShot();
  zone = null;
  refuse("");
  page.dataset.focus = "verdict";
  show();
}

// -- what is seen ----------------------------------------------------------------------------

function refuse(words) {
  refusal.hidden = !words;
  refusal.textContent = words;
}

const PROMPTS = {
  pot: "Tap the ball to pot",
  pocket: "Tap its pocket",
  next: "Tap the next ball",
  next_pocket: "Tap its pocket",
};

function show() {
  // a session that was loaded lies on no table
  panel.hidden = !told?.is_live;
  if (!told) return;
  const step = stepOf(shot);
  const isReady = step === "ready";
  panel.dataset.step = step;
  prompt.textContent = isReady ? readyWords() : PROMPTS[step];
  if (step === "pot" && shot.zone) prompt.textContent = `${readyWords()}, or tap the ball to pot`;
  if (step === "pocket") prompt.textContent = `Ball ${shot.pot}: tap its pocket`;
  if (step === "next_pocket") prompt.textContent = `Next ball ${shot.next}: tap its pocket`;
  offer(step);
  zoneWords.replaceChildren(...wordsOfZone());
  document.getElementById("limits").hidden = !(isReady && shot.next && !shot.zone && !isWaiting());
  document.getElementById("plan-over").hidden = !shot.pot && !shot.zone;
  document.getElementById("plan-withdraw").hidden = pendingId === null;
  document.getElementById("plan-again").hidden = !(told.last && step === "pot");
  drawShot(shot, told, step);
  drawZone(shownZone(), told, isWaiting());
  const isPlanned = Boolean(shot.pot || shot.zone);
  const isBehind = isPlanned && Boolean(told.attempt) && !isOfNext;
  document.getElementById("top-view").classList.toggle("planning", isPlanned && !isBehind);
  document.getElementById("top-view").classList.toggle("behind", isBehind);
  document.getElementById("show-judged").hidden = !(isPlanned && told.attempt && isOfNext);
  for (const watcher of watchers) watcher();
  drawNext(isBehind);
}

const shownZone = () => (documentOf(shot) ? zone?.zone ?? null : null);

// The shot's balls must be set up before it can be played.
const isWaiting = () => Boolean(told.pending && told.pending.id === pendingId && told.pending.waits);

function readyWords() {
  if (isWaiting()) return "Set the balls up";
  const place = told.pending?.id === pendingId ? told.pending?.place : "";
  return place ? `Play ${place}` : "Play the shot";
}

/** Has the table show the shot that is planned, or the one that was judged. */
function showOfNext(isNext) {
  isOfNext = isNext;
  page.dataset.focus = isNext ? "plan" : "verdict";
  show();
}

function wordsOfZone() {
  if (!documentOf(shot) || !zone) return [];
  if (zone.zone.empty) return [`No place to stop: ${zone.zone.emptied_why}.`];
  // what was meant stands beside the table too, once it is set
  const meant = document.createElement("span");
  meant.className = "meant";
  meant.textContent = `${isWaiting() ? told.pending.waits : zone.words}. `.replace("..", ".");
  const cut = zone.cut_deg ? `Its places leave ${zone.cut_deg.map(Math.round).join(" to ")}° of cut.` : "The next still is judged.";
  return [meant, cut];
}

// Every choice is a button too: for keys, for readers of the screen, and for small balls.
function offer(step) {
  const held = choices.contains(document.activeElement) ? choices : null;
  const balls = told.balls.map((ball) => ball.id).filter((id) => id !== "cue");
  const pocketed = told.pockets.map(({ name, words }) => [name, words]);
  const all = {
    pot: balls.map((id) => [id, id]),
    next: balls.filter((id) => id !== shot.pot).map((id) => [id, id]),
    pocket: pocketed,
    next_pocket: [...pocketed, ["any", "any pocket"]],
    ready: [],
  }[step];
  const key = `${step} ${all.map(([value]) => value).join()}`;
  if (choices.dataset.key === key) return;
  choices.dataset.key = key;
  choices.replaceChildren(
    ...all.map(([value, words]) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "button quiet";
      button.dataset.choice = value;
      const isBall = step === "pot" || step === "next";
      if (isBall && icons.has(value)) button.append(icons.get(value).cloneNode(true));
      if (isBall) button.setAttribute("aria-label", `ball ${value}`);
      else button.append(words);
      return button;
    }),
  );
  if (held) (choices.querySelector("button") ?? document.getElementById("plan-over")).focus();
}

function choose(value) {
  const step = stepOf(shot);
  if (step === "pot") change({ ...emptyShot(), pot: value });
  else if (step !== "ready") change({ [step]: value });
}

function tap(event) {
  if (!mayPlan || !told?.is_live || !drawing()?.contains(event.target) || event.target.closest(".grip")) return;
  const step = stepOf(shot);
  if (step === "pocket" || step === "next_pocket") {
    const pocket = pocketNear(event, told);
    if (pocket) return choose(pocket.name);
  }
  const not = step === "next" ? ["cue", shot.pot] : ["cue"];
  const ball = ballNear(event, told, not);
  if (!ball) return;
  if (step === "next") choose(ball.id);
  else if (step === "pocket") change({ pot: ball.id });
  else if (step === "next_pocket" && ball.id !== shot.pot) change({ next: ball.id });
  else if (step === "pot" || step === "ready") change({ ...emptyShot(), pot: ball.id });
}

// -- what comes from the service -------------------------------------------------------------

// A new still or another page may have changed what waits; what is being said here stays.
function catchUp() {
  const was = told;
  told = scene();
  if (!told) return show();
  const waits = told.pending;
  const isNews = !was || was.reading !== told.reading || (waits?.id ?? null) !== (was.pending?.id ?? null);
  // a new still speaks first
  if (was?.reading !== told.reading) page.dataset.focus = "verdict";
  if (was?.reading !== told.reading) isOfNext = !told.attempt;
  else if (waits && waits.id !== (was.pending?.id ?? null)) isOfNext = true; // asked for by a tap
  // what is on its way stands for more than what waited when this was told
  const isOlder = unseenId !== null && waits && waits.id < unseenId;
  const isSaid = was?.reading === told.reading && (soon !== null || isOlder);
  if (was?.reading !== told.reading || waits?.id >= unseenId) unseenId = null;
  if (isNews && !sending && !isSaid) {
    notSoon();
    const isOwn = waits && waits.id === pendingId && was?.reading === told.reading;
    pendingId = waits?.id ?? null;
    if (waits && !isOwn) {
      shot = shotOf(waits.intent);
      zone = waits.zone ? { zone: waits.zone, words: waits.words } : null;
      refuse("");
      if (!waits.waits) askZone();
    } else if (!waits && (was?.pending || was?.reading !== told.reading)) {
      // the shot was played, or withdrawn elsewhere
      shot = emptyShot();
      zone = null;
      refuse("");
    }
  }
  show();
}

choices.addEventListener("click", (event) => {
  const button = event.target.closest("[data-choice]");
  if (button) choose(button.dataset.choice);
});
document.getElementById("plan-over").addEventListener("click", startOver);
document.getElementById("plan-withdraw").addEventListener("click", withdraw);
document.getElementById("next-drawn").addEventListener("click", () => showOfNext(true));
document.getElementById("show-judged").addEventListener("click", () => showOfNext(false));
document.getElementById("top-view").addEventListener("click", tap);
onReady((where) => {
  if (where === document || where.id === "top-view") catchUp();
});

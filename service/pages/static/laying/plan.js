// One plan: every tap is kept at once, and each can be taken back, also after a reload.

import { act, request } from "../base/ask.js";
import { onChange } from "../base/live.js";
import { onReady, refresher } from "../base/parts.js";
import { onChoice } from "../base/screen.js";
import { playPlan } from "./play.js";

const MOST_STEPS_BACK = 50;
const head = () => document.getElementById("plan-head");
const number = head().dataset.number;
const PATH = `/api/v1/plans/${number}`;
const KEPT = `restmark-plan-${number}`;
const refresh = refresher(() => `/plans/${number}/parts${location.search}`);
const refusal = document.getElementById("plan-refusal");
let isSending = false;

// -- the plan as rows: a shot and the note that goes with it ------------------------------------

const plan = () => JSON.parse(head().dataset.plan);

function rowsOf({ shots, notes = [] }) {
  return shots.map((shot, k) => [shot, notes[k] ?? null]);
}

/** The plan by another way: shots and notes stay, settings are those of the way alone. */
const withWay = ({ shots, notes }, settings) => ({ shots, ...(notes && { notes }), ...settings });

function withRows(given, rows) {
  const { notes: _, ...rest } = given;
  const notes = rows.map(([, note]) => note);
  return { ...rest, shots: rows.map(([shot]) => shot), ...(notes.some(Boolean) && { notes }) };
}

const CHANGES = {
  add: (rows, { dataset }) => [[...rows, [JSON.parse(dataset.intent), null]], `added shot ${rows.length + 1}`],
  out: (rows, _, at) => [rows.toSpliced(at, 1), `took out shot ${at + 1}`],
  twice: (rows, _, at) => [rows.toSpliced(at + 1, 0, rows[at]), `shot ${at + 1} once more`],
  earlier: (rows, _, at) => [moved(rows, at, at - 1), `moved shot ${at + 1} to ${at}`],
  later: (rows, _, at) => [moved(rows, at, at + 1), `moved shot ${at + 1} to ${at + 2}`],
};

function moved(rows, from, to) {
  const out = rows.toSpliced(from, 1);
  return out.toSpliced(to, 0, rows[from]);
}

// -- steps back ----------------------------------------------------------------------------------

function steps() {
  try {
    return JSON.parse(sessionStorage.getItem(KEPT) ?? "[]");
  } catch {
    return [];
  }
}

function keepSteps(all) {
  sessionStorage.setItem(KEPT, JSON.stringify(all.slice(-MOST_STEPS_BACK)));
}

function showBack() {
  const button = document.getElementById("back");
  const last = steps().at(-1);
  if (!button) return;
  button.hidden = !last;
  button.textContent = last ? `Undo: ${last.words}` : "";
}

// -- sending -------------------------------------------------------------------------------------

async function send(body) {
  isSending = true;
  const outcome = await request("PATCH", PATH, body);
  isSending = false;
  refusal.hidden = outcome.ok;
  refusal.textContent = outcome.ok ? "" : outcome.detail;
  await refresh();
  return outcome.ok;
}

async function change(button) {
  const was = plan();
  const at = Number(button.closest("[data-at]")?.dataset.at);
  const [rows, words] = CHANGES[button.dataset.do](rowsOf(was), button, at);
  if (!(await send({ plan: withRows(was, rows) }))) return;
  keepSteps([...steps(), { words, body: { plan: was } }]);
  showBack();
  document.getElementById("plan-said").textContent = `${words}. The plan has ${rows.length}.`;
  const to = { earlier: `earlier-${at - 1}`, later: `later-${at + 1}` }[button.dataset.do];
  const here = to && document.getElementById(to);
  if (here) (here.disabled ? here.closest(".acts").querySelector("button:enabled") : here).focus();
}

async function changeWay({ dataset, id, textContent }) {
  const was = plan();
  if (!(await send({ plan: withWay(was, JSON.parse(dataset.settings)) }))) return;
  const words = "changed how it is played";
  keepSteps([...steps(), { words, body: { plan: was } }]);
  showBack();
  const now = document.getElementById(id);
  document.getElementById("plan-said").textContent = now?.closest(".stepper")?.querySelector("output")?.textContent ?? textContent;
  (now?.disabled ? now.closest(".stepper, .acts").querySelector("button:enabled") : now)?.focus();
}

async function stepBack() {
  const all = steps();
  const last = all.pop();
  if (!last || !(await send(last.body))) return;
  keepSteps(all);
  showBack();
  document.getElementById("plan-said").textContent = `Taken back: ${last.words}.`;
}

async function rename(title) {
  const was = document.querySelector("h1").textContent;
  if (!(await send({ title }))) return;
  keepSteps([...steps(), { words: `named it ${title}`, body: { title: was } }]);
  document.getElementById("plan-name").open = false;
  showBack();
}

const doings = {
  play: () => playPlan(number),
  back: stepBack,
  strike: () => act("POST", `${PATH}/strike`).then(refresh),
  restore: () => act("POST", `${PATH}/restore`).then(refresh),
};

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button || isSending) return;
  if (button.dataset.settings) changeWay(button);
  else if (button.dataset.title) rename(button.dataset.title);
  else if (button.dataset.do in CHANGES) change(button);
  else doings[button.dataset.do]?.(button);
});
document.addEventListener("submit", (event) => {
  if (event.target.id !== "name-form") return;
  event.preventDefault();
  rename(new FormData(event.target).get("title"));
});
onReady((where) => {
  for (const hidden of where.querySelectorAll("[data-scripted]")) hidden.hidden = false;
  showBack();
});
onChange((change) => ["hello", "plan", "layout", "attempt"].includes(change.kind) && refresh());
onChoice((name) => name === "units" && refresh());

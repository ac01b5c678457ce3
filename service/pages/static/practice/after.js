// After the shot: the verdict is said, a doubtful name is a tap, and so are notes and undoing.

import { act } from "../base/ask.js";
import { onReady } from "../base/parts.js";
import { chime, speak } from "../base/said.js";
import { chosen } from "../base/screen.js";
import { askAbout } from "./naming.js";
import { refresh } from "./parts.js";

let told = null; // the attempt whose verdict was last on the page

function sayVerdict() {
  const part = document.getElementById("verdict");
  const attempt = part.dataset.attempt;
  const isNew = told !== null && attempt && Number(attempt) > Number(told || 0);
  told = attempt;
  if (!isNew) return;
  const words = Array.from(part.querySelectorAll("h1, .subline"), (each) => each.textContent);
  chime(part.dataset.tone);
  speak(words.join(". "));
}

const ACTS = {
  again: () => ["POST", "/api/v1/intent/again"],
  mirror: () => ["POST", "/api/v1/intent/mirror", { mirror: "across" }],
  undo: () => ["POST", "/api/v1/undo"],
  strike: ({ dataset }) => ["POST", `/api/v1/attempts/${dataset.attempt}/strike`],
  outcome: ({ dataset }) => ["PUT", `/api/v1/readings/${dataset.reading}/outcome`, { event: dataset.event }],
  "outcome-back": ({ dataset }) => ["DELETE", `/api/v1/readings/${dataset.reading}/outcome`],
  restore: ({ dataset }) => ["POST", `/api/v1/attempts/${dataset.attempt}/restore`],
};

/** Adds something that a button with `data-do` does: a function of the button. */
export function onDo(name, asked) {
  ACTS[name] = asked;
}

// Off while it works. A button that is off, or that the answer takes away, drops the focus: who goes
// by keys goes on from it, or from the top of the content, not from the top of the page.
async function whileOff(button, work) {
  const isHeld = document.activeElement === button;
  button.disabled = true;
  const isDone = await work();
  button.disabled = false;
  if (isHeld && [button, document.body].includes(document.activeElement)) button.focus({ preventScroll: true });
  if (!isDone) return;
  await refresh();
  const held = document.activeElement;
  if (isHeld && (held === document.body || !held.getClientRects().length)) {
    document.getElementById("main").focus({ preventScroll: true });
  }
}

function perform(button) {
  return whileOff(button, async () => {
    const asked = await ACTS[button.dataset.do](button);
    if (asked) await act(asked[0], asked[1] + location.search, asked[2]);
    return asked;
  });
}

const setUpAs = (reading, repeats_reading_id) => [
  "PUT",
  `/api/v1/readings/${reading}/outcome`,
  { event: "set_up", repeats_reading_id },
];
onDo("set-up-as", ({ dataset }) => setUpAs(dataset.reading, Number(dataset.repeats)));
// Which layout was set up again is asked where there are several, with their drawings.
onDo("set-up", async ({ dataset: { reading } }) => {
  const found = await act("GET", `/api/v1/readings/${reading}/repeats?units=${chosen("units") || "mm"}`);
  const known = found.ok ? found.body.repeats : [];
  if (known.length < 2) return setUpAs(reading, null); // or the service says why it cannot be
  const box = document.getElementById("happened-repeats");
  box.replaceChildren(...known.map((each) => layoutButton(each, reading)));
  box.hidden = false;
  box.firstElementChild.focus();
  return null;
});

function layoutButton({ repeats_reading_id, received_at, said }, reading) {
  const button = document.createElement("button");
  const picture = document.createElement("img");
  Object.assign(button, { type: "button", className: "button quiet", id: `repeats-${repeats_reading_id}` });
  Object.assign(button.dataset, { do: "set-up-as", reading, repeats: repeats_reading_id });
  Object.assign(picture, { src: `/api/v1/readings/${repeats_reading_id}/top-view.svg`, alt: "" });
  button.append(picture, `${new Date(received_at).toTimeString().slice(0, 5)}, ${said}`);
  return button;
}

function settleName(button) {
  const doubt = button.closest(".doubt");
  const [x_mm, y_mm] = doubt.dataset.place.split(" ").map(Number);
  if (button.dataset.other) return askAbout(x_mm, y_mm);
  const names = button.dataset.names ? JSON.parse(button.dataset.names) : [{ id: button.dataset.name, x_mm, y_mm }];
  return whileOff(button, () => act("POST", doubt.dataset.path, { names }, { words: "Learning the name …" }));
}

// What was noted by taps and is not on the service yet, by where it goes.
const noted = new Map();
let sending = Promise.resolve();

function note(button) {
  const path = button.closest("[data-note]").dataset.note;
  const { key } = button.closest("fieldset").dataset;
  const isChosen = button.getAttribute("aria-pressed") === "true";
  // rails can be counted otherwise, not uncounted: a drawn way tells them too
  if (isChosen && key === "rails") return;
  noted.set(path, { ...(noted.get(path) ?? notedNow()), [key]: isChosen ? null : button.dataset.value });
  showNotes();
  // one after another: each holds all that was tapped until then
  sending = sending.then(() => sendNote(path));
}

function notedNow() {
  const fields = document.querySelectorAll("#after fieldset[data-key]");
  const value = (field) => field.querySelector('[aria-pressed="true"]')?.dataset.value ?? null;
  return Object.fromEntries(Array.from(fields, (field) => [field.dataset.key, value(field)]));
}

function showNotes() {
  const box = document.querySelector("#after [data-note]");
  const now = box && noted.get(box.dataset.note);
  if (!now) return;
  for (const button of box.querySelectorAll("[data-value]")) {
    const { key } = button.closest("fieldset").dataset;
    button.setAttribute("aria-pressed", String(now[key] === button.dataset.value));
  }
}

async function sendNote(path) {
  const now = noted.get(path);
  if (!now) return;
  const row = document.querySelector(`[data-note="${path}"]`)?.dataset.inARow ?? "";
  const number = (text) => (text === null || text === "" ? null : Number(text));
  await act("PUT", path, {
    spin: now.spin,
    side_spin: now.side_spin,
    rails: number(now.rails),
    in_a_row: number(row),
  });
  if (noted.get(path) !== now) return;
  await refresh();
  if (noted.get(path) === now) noted.delete(path);
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button?.dataset.do) perform(button);
  else if (button?.closest(".doubt")) settleName(button);
  else if (button?.closest("[data-note]")) note(button);
});
onReady((where) => {
  if (where === document || where.id === "verdict") sayVerdict();
  if (where.id === "after") showNotes();
});

// The library: record, take in, words, put away; what is chosen for a lesson stays chosen.

import { act, request } from "../base/ask.js";
import { onChange } from "../base/live.js";
import { onReady, refresher } from "../base/parts.js";
import { onChoice } from "../base/screen.js";
import { freshTitle } from "./titles.js";

const API = "/api/v1/layouts";
const TYPING_MS = 250;
const table = new URLSearchParams(location.search).get("table");
const atTable = table ? `?table=${encodeURIComponent(table)}` : "";
const chosen = [];
const find = document.querySelector(".find");
const refresh = refresher(() => `/layouts/parts${location.search}`);

const numberOf = (element) => element.closest("[data-number]").dataset.number;

// The table as it lies, with the shot that is planned on it.
async function record() {
  const { intent } = document.getElementById("now").dataset;
  const asked = intent ? { intent: JSON.parse(intent) } : {};
  const outcome = await act("POST", `${API}${atTable}`, asked, { words: "Recording …" });
  if (!outcome.ok) return;
  if (location.search.includes("q=") || location.search.includes("tag=")) history.replaceState(null, "", `/layouts${atTable}`);
  await refresh();
  openWords(outcome.body.id);
}

// a fresh layout has no name yet: its words are asked for at once, and may be left
function openWords(number) {
  const details = document.getElementById(`more-${number}`);
  if (!details) return;
  details.open = true;
  const title = details.querySelector("[name=title]");
  title.focus();
  title.select();
}

async function takeIn(input) {
  const file = input.files[0];
  if (!file) return;
  const path = `${API}/import?name=${encodeURIComponent(file.name.slice(0, 200))}`;
  const outcome = await act("POST", path, file, { type: "application/octet-stream", words: "Bringing in …" });
  input.value = "";
  if (outcome.ok) await refresh();
}

async function keepWords(form) {
  const given = Object.fromEntries(new FormData(form));
  const tags = given.tags.split(",").map((tag) => tag.trim()).filter(Boolean);
  const outcome = await request("PATCH", `${API}/${numberOf(form)}`, { ...given, tags });
  const refusal = form.querySelector(".refusal");
  refusal.hidden = outcome.ok;
  refusal.textContent = outcome.ok ? "" : outcome.detail;
  if (!outcome.ok) return;
  form.closest("details").open = false;
  const number = numberOf(form);
  await refresh();
  holdFocus(document.querySelector(`#more-${number} > summary`));
}

// What was touched is gone: who goes by keys goes on from there, not from the top of the page.
function holdFocus(there) {
  if (document.activeElement === document.body) (there ?? document.getElementById("main")).focus({ preventScroll: true });
}

const changed = (path) => act("POST", path).then(refresh).then(() => holdFocus());

async function setUp(number, mirror) {
  const body = { layout_id: Number(number), ...(mirror && { mirror }) };
  const outcome = await act("PUT", `/api/v1/guide${atTable}`, body);
  if (outcome.ok) location.assign(`/guide${atTable}`);
}

const doings = {
  guide: (number) => setUp(number),
  mirror: (number) => setUp(number, "across"),
  strike: (number) => changed(`${API}/${number}/strike`),
  restore: (number) => changed(`${API}/${number}/restore`),
};

function showChosen() {
  const section = document.getElementById("for-lesson");
  section.hidden = chosen.length === 0;
  const count = chosen.length;
  document.getElementById("chosen-words").textContent =
    count === 1 ? "1 layout is chosen." : `${count} layouts are chosen, in this order of choosing.`;
  document.getElementById("make-plan").hidden = chosenIntents().length === 0;
  document.getElementById("make-lesson").href = `/lessons?layouts=${chosen.join(",")}${table ? `&table=${encodeURIComponent(table)}` : ""}`;
}

// A plan is made of shots: a layout without one is left out.
function chosenIntents() {
  const cards = chosen.map((number) => document.querySelector(`.layout[data-number="${number}"]`));
  return cards.flatMap((card) => (card?.dataset.intent ? [JSON.parse(card.dataset.intent)] : []));
}

async function makePlan() {
  const outcome = await act("POST", "/api/v1/plans", { title: freshTitle(), plan: { shots: chosenIntents() } });
  if (outcome.ok) location.assign(`/plans/${outcome.body.id}${atTable}`);
}

document.addEventListener("click", (event) => {
  if (event.target.closest("#make-plan")) makePlan();
  if (event.target.closest("#record")) record();
  const button = event.target.closest("[data-do]");
  if (button) doings[button.dataset.do](numberOf(button));
});
document.addEventListener("change", (event) => {
  if (event.target.matches("#import input")) takeIn(event.target);
  const number = event.target.dataset.lesson;
  if (!number) return;
  if (event.target.checked) chosen.push(number);
  else chosen.splice(chosen.indexOf(number), 1);
  showChosen();
});
document.addEventListener("submit", (event) => {
  if (event.target.matches(".words-of")) {
    event.preventDefault();
    keepWords(event.target);
  }
});

// found while typing; without scripts the button finds
let typing = 0;
find.addEventListener("input", () => {
  clearTimeout(typing);
  typing = setTimeout(() => {
    const asked = new URLSearchParams(new FormData(find));
    if (table) asked.set("table", table);
    history.replaceState(null, "", `/layouts?${asked}`);
    refresh();
  }, TYPING_MS);
});
find.addEventListener("submit", (event) => event.preventDefault());

onChoice((name) => name === "units" && refresh());
document.getElementById("record").hidden = false;
document.getElementById("import").hidden = false;
onReady((where) => {
  for (const hidden of where.querySelectorAll("[data-scripted]")) hidden.hidden = false;
  for (const box of where.querySelectorAll("[data-lesson]")) box.checked = chosen.includes(box.dataset.lesson);
});
onChange((change) => ["hello", "layout", "reading", "attempt", "intent"].includes(change.kind) && refresh());

// Names of balls: asks which one a ball is, or all of them to teach the set, and sends the answer.

import { request, sayOutcome } from "../base/ask.js";
import { setOff } from "../base/off.js";
import { refresh } from "./parts.js";

const naming = document.getElementById("naming");
const teaching = document.getElementById("teaching");
const ballRow = document.getElementById("teaching-ball").content;
let asked = null; // the still in question, as it was when the question was put

const called = (name) => (name === "cue" ? "cue ball" : `ball ${name}`);
const percent = (share) => `${Math.round(100 * share)} %`;

function stillOnPage() {
  const table = document.getElementById("balls");
  return {
    number: table.dataset.still,
    path: table.dataset.names,
    picture: table.dataset.picture,
    size: table.dataset.pictureSize.split(" "),
    balls: Array.from(table.querySelectorAll(".pick"), (pick) => JSON.parse(pick.dataset.ball)),
  };
}

// As read, then its runners-up; with `all` the other names after them, in the balls' order.
function likeliest(ball) {
  return [[ball.id, ball.confidence], ...(ball.doubtful ? ball.runners_up : [])];
}

function show(look, ball) {
  const [left, top, side] = ball.look;
  look.setAttribute("viewBox", `${left} ${top} ${side} ${side}`);
  const image = look.querySelector("image");
  image.setAttribute("width", asked.size[0]);
  image.setAttribute("height", asked.size[1]);
  image.setAttribute("href", asked.picture);
}

function refuse(dialog, words) {
  const line = dialog.querySelector(".refusal");
  line.hidden = !words;
  line.textContent = words;
  if (words) dialog.querySelector(".acts").scrollIntoView({ block: "nearest" });
}

function open(dialog) {
  refuse(dialog, "");
  dialog.querySelector("[type=submit]").disabled = false;
  dialog.showModal();
}

// -- one ball ------------------------------------------------------------------------------

function askOne(data) {
  asked = { ...stillOnPage(), ball: data };
  naming.querySelector("form").reset();
  show(naming.querySelector(".look"), data);
  const read = data.doubtful
    ? `Read as ${called(data.id)}, in doubt.`
    : `It has the name ${called(data.id)}.`;
  naming.querySelector(".about").textContent =
    `Still ${asked.number}, at ${data.where}. ${read}`;
  const offer = naming.querySelector(".offer");
  const labels = Array.from(offer.querySelectorAll("label"));
  const likely = new Map(likeliest(data));
  const rank = (label) => {
    const value = label.querySelector("input").value;
    const place = [...likely.keys()].indexOf(value);
    return place >= 0 ? place - 100 : value === "" ? 100 : value === "cue" ? 0 : Number(value);
  };
  for (const label of labels.sort((a, b) => rank(a) - rank(b))) {
    const input = label.querySelector("input");
    const aside = label.querySelector("small");
    if (aside) {
      const share = data.doubtful ? likely.get(input.value) : undefined;
      aside.textContent = share === undefined ? "" : ` ${percent(share)}`;
    }
    label.classList.toggle("likely", likely.has(input.value));
    input.checked = !data.doubtful && input.value === data.id;
    offer.append(label);
  }
  sayEffect();
  open(naming);
  (offer.querySelector("input:checked") ?? offer.querySelector("input")).focus();
}

function chosenName() {
  return naming.querySelector(".offer input:checked")?.value;
}

function sayEffect() {
  const name = chosenName();
  const { id, x_mm, y_mm } = asked.ball;
  const holder = asked.balls.find(
    (other) => other.id === name && (other.x_mm !== x_mm || other.y_mm !== y_mm),
  );
  let words = "";
  if (name === "") words = "The name is left in doubt, and the set learns nothing of this ball.";
  if (holder) {
    words = `The ball at ${holder.where} has this name now: it is called ${called(id)} then, in doubt.`;
  }
  const exchange = document.getElementById("exchange");
  exchange.hidden = !holder;
  if (holder) exchange.textContent = `Swap ${called(id)} and ${called(name)}`;
  naming.querySelector(".effect").textContent = words;
}

// -- all of them ---------------------------------------------------------------------------

function draftKey() {
  return `restmark-teach ${asked.path}`;
}

function optionsOf(ball) {
  const first = likeliest(ball).map(([name]) => name);
  const all = Array.from(naming.querySelectorAll(".offer input"), (input) => input.value);
  const order = (name) => (name === "cue" ? 0 : Number(name));
  const rest = all.filter((name) => name && !first.includes(name));
  rest.sort((a, b) => order(a) - order(b));
  const options = [...first, ...rest].map((name) => new Option(called(name), name));
  return [new Option("cannot tell", ""), ...options];
}

function askAll() {
  asked = stillOnPage();
  teaching.querySelector("form").reset();
  teaching.querySelector(".about").textContent =
    `Look at every ball of still ${asked.number}. By what you confirm here this very set is ` +
    "known, and later stills of it are named. Leave open what you cannot tell.";
  const draft = JSON.parse(sessionStorage.getItem(draftKey()) ?? "{}");
  const rows = asked.balls.map((ball) => {
    const row = ballRow.cloneNode(true).firstElementChild;
    show(row.querySelector(".look"), ball);
    row.querySelector(".where").textContent =
      `${ball.where}${ball.doubtful ? `, in doubt: read as ${ball.id}` : ""}`;
    row.classList.toggle("doubt", ball.doubtful);
    const select = row.querySelector("select");
    select.append(...optionsOf(ball));
    select.dataset.place = `${ball.x_mm} ${ball.y_mm}`;
    select.dataset.given = ball.doubtful ? "" : ball.id;
    select.value = draft[select.dataset.place] ?? select.dataset.given;
    return row;
  });
  teaching.querySelector(".every").replaceChildren(...rows);
  sayTwice();
  open(teaching);
  teaching.querySelector("select").focus();
}

function picked() {
  return Array.from(teaching.querySelectorAll("select"), (select) => {
    const [x_mm, y_mm] = select.dataset.place.split(" ").map(Number);
    return { id: select.value || null, x_mm, y_mm };
  });
}

function sayTwice() {
  const names = picked().flatMap(({ id }) => id ?? []);
  const twice = [...new Set(names.filter((name, k) => names.indexOf(name) !== k))];
  teaching.querySelector(".effect").textContent = twice.length
    ? `Chosen more than once: ${twice.map(called).join(", ")}.`
    : "";
}

// What was changed outlives a reload or a look at the page behind.
function keepDraft() {
  const changed = Array.from(teaching.querySelectorAll("select")).filter(
    (select) => select.value !== select.dataset.given,
  );
  const held = changed.map((select) => [select.dataset.place, select.value]);
  sessionStorage.setItem(draftKey(), JSON.stringify(Object.fromEntries(held)));
}

// -- sending -------------------------------------------------------------------------------

// Sends names; the question stays open, with all that was chosen, where they are not taken.
async function tell(dialog, names) {
  const button = dialog.querySelector("[type=submit]");
  setOff(button, true);
  refuse(dialog, "");
  const outcome = await request("POST", asked.path, { names });
  setOff(button, false);
  if (!outcome.ok) {
    refuse(dialog, `${outcome.detail}${outcome.status ? "" : ": nothing was kept."}`);
    return false;
  }
  if (dialog === teaching) sessionStorage.removeItem(draftKey());
  await refresh();
  dialog.close();
  return true;
}

async function tellOne() {
  const { x_mm, y_mm } = asked.ball;
  if (!(await tell(naming, [{ id: chosenName() || null, x_mm, y_mm }]))) return;
  // the ball has another row now
  const is = (pick) => {
    const ball = JSON.parse(pick.dataset.ball);
    return ball.x_mm === x_mm && ball.y_mm === y_mm;
  };
  Array.from(document.querySelectorAll(".pick")).find(is)?.focus();
}

// Both names at once: nothing stays in doubt.
async function exchangeNames() {
  const { id, x_mm, y_mm } = asked.ball;
  const name = chosenName();
  const holder = asked.balls.find((other) => other.id === name);
  if (!holder) return;
  await tell(naming, [{ id: name, x_mm, y_mm }, { id, x_mm: holder.x_mm, y_mm: holder.y_mm }]);
}

async function tellAll() {
  if (!(await tell(teaching, picked()))) return;
  document.getElementById("teach")?.focus();
}

async function takeBack(button) {
  setOff(button, true);
  sayOutcome(await request("DELETE", button.dataset.takeBack));
  setOff(button, false);
  await refresh();
  if (!document.getElementById("take-back")) document.getElementById("teach")?.focus();
}

// -- what the person does ------------------------------------------------------------------

/** Asks for the name of the ball at a place. */
export function askAbout(x_mm, y_mm) {
  const ball = stillOnPage().balls.find((each) => each.x_mm === x_mm && each.y_mm === y_mm);
  if (ball) askOne(ball);
}

function point(row) {
  const name = row?.querySelector(".pick")?.textContent.replace("?", "");
  for (const ball of document.querySelectorAll("#top-view .ball[data-ball]")) {
    ball.classList.toggle("pointed", ball.dataset.ball === name);
  }
}

document.addEventListener("click", (event) => {
  const pick = event.target.closest(".pick");
  if (pick) askOne(JSON.parse(pick.dataset.ball));
  else if (event.target.closest("#teach")) askAll();
  else if (event.target.closest("[data-take-back]")) takeBack(event.target.closest("button"));
  else if (event.target.closest("[data-close]")) event.target.closest("dialog").close();
});
for (const kind of ["pointerover", "focusin"]) {
  document.addEventListener(kind, (event) => point(event.target.closest?.("#balls tbody tr")));
}
naming.addEventListener("change", sayEffect);
document.getElementById("exchange").addEventListener("click", exchangeNames);
teaching.addEventListener("change", () => {
  sayTwice();
  keepDraft();
});
for (const [dialog, answer] of [[naming, tellOne], [teaching, tellAll]]) {
  dialog.addEventListener("submit", (event) => {
    event.preventDefault();
    answer();
  });
}

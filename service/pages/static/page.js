"use strict";

// Keeps the page as new as the service: every live change fetches the parts again.

const SILENT = "The service does not answer";
const link = document.getElementById("link");
const lastHtml = new Map();
let refreshing = null;
let isStale = false;

function say(state, words) {
  link.dataset.state = state;
  link.textContent = words;
}

// What has the focus inside a part that is about to be replaced, as a selector for its successor.
function focusIn(part) {
  const held = document.activeElement;
  if (!held || held === part || !part.contains(held)) return null;
  if (held.id) return `#${CSS.escape(held.id)}`;
  return held.name ? `[name="${CSS.escape(held.name)}"]` : null;
}

function putParts(html) {
  const fresh = new DOMParser().parseFromString(html, "text/html");
  for (const part of fresh.querySelectorAll("[data-part]")) {
    const here = document.getElementById(part.id);
    // compared with what came last: what the scripts changed since is no news
    if (!here || lastHtml.get(part.id) === part.outerHTML) continue;
    lastHtml.set(part.id, part.outerHTML);
    const focus = focusIn(here);
    // the element itself stays, so that a reader of live regions hears the change
    for (const name of ["data-tone", "hidden"]) {
      if (part.hasAttribute(name)) here.setAttribute(name, part.getAttribute(name));
      else here.removeAttribute(name);
    }
    here.replaceChildren(...part.childNodes);
    ready(here);
    if (focus) here.querySelector(focus)?.focus();
  }
}

async function fetchParts() {
  try {
    do {
      isStale = false;
      const answer = await fetch("/parts", { cache: "no-store" });
      if (!answer.ok) throw new Error(String(answer.status));
      putParts(await answer.text());
    } while (isStale);
  } catch {
    say("off", SILENT);
  } finally {
    refreshing = null;
  }
}

// Resolves when the parts are at least as new as the call.
function refresh() {
  isStale = true;
  refreshing ??= fetchParts();
  return refreshing;
}

// Why the service did not do it, in words; null where it did.
async function ask(method, path, body, type = "application/json") {
  try {
    const answer = await fetch(path, { method, body, headers: body ? { "Content-Type": type } : {} });
    if (answer.ok) return null;
    return { state: "refused", detail: (await answer.json()).detail };
  } catch {
    return { state: "off", detail: SILENT };
  }
}

function sayOutcome(trouble) {
  if (trouble) say(trouble.state, trouble.detail);
  else say("on", "Live");
}

async function send(input) {
  const file = input.files[0];
  if (!file) return;
  const [method, path] = input.dataset.send.split(" ");
  const isStill = method === "POST";
  say("busy", isStill ? "Reading the still …" : "Setting the calibration …");
  const url = isStill ? `${path}?name=${encodeURIComponent(file.name)}` : path;
  sayOutcome(await ask(method, url, file, isStill ? "application/octet-stream" : undefined));
  input.value = "";
}

async function note(form) {
  const number = (text) => (text === "" ? null : Number(text));
  const { spin, side_spin, rails } = Object.fromEntries(new FormData(form));
  const noted = {
    spin: spin || null,
    side_spin: side_spin || null,
    rails: number(rails),
    in_a_row: number(form.dataset.inARow),
  };
  sayOutcome(await ask("PUT", form.dataset.note, JSON.stringify(noted)));
}

// Kept in the browser, a year long; the service reads it with every request.
function showIn(units) {
  document.cookie = `restmark-units=${units}; path=/; max-age=31536000; samesite=strict`;
  refresh();
}

// What works only with scripts is shown by them.
function ready(where) {
  for (const shown of where.querySelectorAll(".noting, .sends, .units")) shown.hidden = false;
  for (const button of where.querySelectorAll(".pick")) button.disabled = false;
}

document.addEventListener("change", (event) => {
  if (event.target.matches("input[data-send]")) send(event.target);
  if (event.target.id === "units") showIn(event.target.value);
  const form = event.target.closest("form[data-note]");
  if (form) note(form);
});

for (const part of document.querySelectorAll("[data-part]")) lastHtml.set(part.id, part.outerHTML);
const changes = new EventSource("/api/v1/events");
changes.addEventListener("change", (event) => {
  if (JSON.parse(event.data).kind === "hello") say("on", "Live");
  refresh();
});
changes.addEventListener("error", () => say("off", "Connection lost, trying again …"));
ready(document);

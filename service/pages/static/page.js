"use strict";

// Keeps the page as new as the service: every live change fetches the parts again.

const link = document.getElementById("link");
let isFetching = false;
let isStale = false;

function say(state, words) {
  link.dataset.state = state;
  link.textContent = words;
}

function putParts(html) {
  const fresh = new DOMParser().parseFromString(html, "text/html");
  for (const part of fresh.querySelectorAll("[data-part]")) {
    const here = document.getElementById(part.id);
    if (!here || here.outerHTML === part.outerHTML) continue;
    // the element itself stays, so that a reader of live regions hears the change
    for (const name of ["data-tone", "hidden"]) {
      if (part.hasAttribute(name)) here.setAttribute(name, part.getAttribute(name));
      else here.removeAttribute(name);
    }
    if (here.innerHTML !== part.innerHTML) here.replaceChildren(...part.childNodes);
  }
  ready();
}

async function refresh() {
  if (isFetching) {
    isStale = true;
    return;
  }
  isFetching = true;
  try {
    do {
      isStale = false;
      const answer = await fetch("/parts", { cache: "no-store" });
      if (!answer.ok) throw new Error(String(answer.status));
      putParts(await answer.text());
    } while (isStale);
  } catch {
    say("off", "The service does not answer");
  } finally {
    isFetching = false;
  }
}

async function send(input) {
  const file = input.files[0];
  if (!file) return;
  const [method, path] = input.dataset.send.split(" ");
  const isStill = method === "POST";
  say("busy", isStill ? "Reading the still …" : "Setting the calibration …");
  const url = isStill ? `${path}?name=${encodeURIComponent(file.name)}` : path;
  const type = isStill ? "application/octet-stream" : "application/json";
  try {
    const answer = await fetch(url, { method, body: file, headers: { "Content-Type": type } });
    if (answer.ok) say("on", "Live");
    else say("refused", (await answer.json()).detail);
  } catch {
    say("off", "The service does not answer");
  }
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
  try {
    const answer = await fetch(form.dataset.note, {
      method: "PUT",
      body: JSON.stringify(noted),
      headers: { "Content-Type": "application/json" },
    });
    if (answer.ok) say("on", "Live");
    else say("refused", (await answer.json()).detail);
  } catch {
    say("off", "The service does not answer");
  }
}

function ready() {
  for (const form of document.querySelectorAll(".noting")) form.hidden = false;
  for (const sends of document.querySelectorAll(".sends")) sends.hidden = false;
}

document.addEventListener("change", (event) => {
  if (event.target.matches("input[data-send]")) send(event.target);
  const form = event.target.closest("form[data-note]");
  if (form) note(form);
});

const changes = new EventSource("/api/v1/events");
changes.addEventListener("change", (event) => {
  if (JSON.parse(event.data).kind === "hello") say("on", "Live");
  refresh();
});
changes.addEventListener("error", () => say("off", "Connection lost, trying again …"));
ready();

// The set-up guide: new with every still, or live from this device's camera; what changed is said.

import { act, request, say, SILENT } from "../base/ask.js";
import { onChange } from "../base/live.js";
import { onReady, putParts, refresher } from "../base/parts.js";
import { chime, speak } from "../base/said.js";
import { onChoice } from "../base/screen.js";

const PAUSE_MS = 150;
const QUALITY = 0.92;
const KEEP_AFTER_MS = 350; // taps that follow one another are kept once
const narrow = matchMedia("(max-width: 640px) and (orientation: portrait)");
const parts = () => {
  const asked = new URLSearchParams(location.search);
  if (narrow.matches) asked.set("upright", "1");
  return `/guide/parts?${asked}`;
};
const refresh = refresher(parts);
const camera = document.getElementById("camera");
const video = document.getElementById("seen");
const canvas = document.createElement("canvas");
let stream = null;
let lastSaid = document.getElementById("said").textContent;
let awake = null;

function tell() {
  const said = document.getElementById("said").textContent.trim();
  if (said === lastSaid) return;
  lastSaid = said;
  speak(said.replace(/^[✓?] /, ""));
  chime(document.getElementById("state").dataset.tone);
}

async function renew() {
  if (stream) return;
  await refresh();
  tell();
}

// a picture → the parts for it; nothing of it is kept
async function lookAt(picture) {
  try {
    const answer = await fetch(parts(), {
      method: "POST", body: picture, headers: { "Content-Type": "application/octet-stream" },
    });
    if (!answer.ok) throw new Error(String(answer.status));
    await putParts(await answer.text());
    tell();
  } catch {
    say("off", SILENT);
  }
}

async function start() {
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      video: { facingMode: "environment", width: { ideal: 1920 }, height: { ideal: 1080 } },
    });
  } catch {
    words("This device gives no camera: allow it in the browser, or look at a picture.");
    return;
  }
  camera.setAttribute("aria-pressed", "true");
  video.hidden = false;
  video.srcObject = stream;
  await video.play();
  words("Live from this device's camera. It must stand where it was calibrated.");
  // a tablet that sleeps sees nothing
  awake = await navigator.wakeLock?.request("screen").catch(() => null);
  follow();
}

async function follow() {
  while (stream) {
    canvas.width = video.videoWidth;
    canvas.height = video.videoHeight;
    canvas.getContext("2d").drawImage(video, 0, 0);
    const picture = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
    if (picture && stream) await lookAt(picture);
    await new Promise((done) => setTimeout(done, PAUSE_MS));
  }
}

function stop() {
  for (const track of stream?.getTracks() ?? []) track.stop();
  stream = null;
  awake?.release();
  camera.setAttribute("aria-pressed", "false");
  video.hidden = true;
  words("By the stills that arrive: each new one is compared at once.");
  renew();
}

function words(text) {
  document.getElementById("source-words").textContent = text;
}

// How near is near enough: a step by each tap, seen at once, kept when the taps are over.
let nearness_mm = null; // what was tapped and is not kept yet
let keeping = null;

function stepNearness(button) {
  const box = button.closest("#nearness");
  const steps = JSON.parse(box.dataset.steps);
  const now = steps.findIndex(([mm]) => mm === (nearness_mm ?? Number(box.dataset.held)));
  const next = steps[now + Number(button.dataset.step)];
  if (!next) return;
  nearness_mm = next[0];
  showNearness();
  clearTimeout(keeping);
  keeping = setTimeout(keepNearness, KEEP_AFTER_MS);
}

function showNearness() {
  const box = document.getElementById("nearness");
  if (!box) return;
  const steps = JSON.parse(box.dataset.steps);
  const at = steps.findIndex(([mm]) => mm === (nearness_mm ?? Number(box.dataset.held)));
  box.querySelector("output").textContent = steps[at]?.[1] ?? "";
  for (const button of box.querySelectorAll("[data-step]")) {
    // not `disabled`: a key that stepped here goes on having its focus
    button.setAttribute("aria-disabled", String(!steps[at + Number(button.dataset.step)]));
  }
}

async function keepNearness() {
  const tolerance_mm = nearness_mm;
  const outcome = await request("PUT", `/api/v1/guide${location.search}`, { tolerance_mm });
  const refusal = document.querySelector("#tolerance .refusal");
  if (nearness_mm === tolerance_mm) nearness_mm = null;
  if (refusal) refusal.hidden = outcome.ok;
  if (refusal) refusal.textContent = outcome.ok ? "" : outcome.detail;
  if (!outcome.ok) showNearness();
}

camera.addEventListener("click", () => (stream ? stop() : start()));
document.getElementById("picture").addEventListener("change", async ({ target }) => {
  if (target.files[0]) await lookAt(target.files[0]);
  target.value = "";
});
document.addEventListener("click", (event) => {
  if (event.target.closest("#drop")) act("DELETE", `/api/v1/guide${location.search}`);
  const step = event.target.closest("#nearness [data-step]");
  if (step) stepNearness(step);
});
document.getElementById("source").hidden = false;
onReady((where) => {
  for (const hidden of where.querySelectorAll("[data-scripted]")) hidden.hidden = false;
  if (where === document || where.id === "asked") showNearness();
});
narrow.addEventListener("change", renew);
if (narrow.matches) renew();
onChange(renew);
onChoice((name) => ["units", "turn", "shape"].includes(name) && renew());

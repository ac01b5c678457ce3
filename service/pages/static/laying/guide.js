// The set-up guide: new with every still, or live from this device's camera; what changed is said.

import { act, request, say, SILENT } from "../base/ask.js";
import { onChange } from "../base/live.js";
import { onReady, putParts, refresher } from "../base/parts.js";
import { chime, speak } from "../base/said.js";
import { onChoice } from "../base/screen.js";

const PAUSE_MS = 150;
const QUALITY = 0.92;
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
    putParts(await answer.text());
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

async function keepTolerance(form) {
  const tolerance_mm = Number(new FormData(form).get("tolerance_mm"));
  const outcome = await request("PUT", `/api/v1/guide${location.search}`, { tolerance_mm });
  const refusal = form.querySelector(".refusal");
  refusal.hidden = outcome.ok;
  refusal.textContent = outcome.ok ? "" : outcome.detail;
}

camera.addEventListener("click", () => (stream ? stop() : start()));
document.getElementById("picture").addEventListener("change", async ({ target }) => {
  if (target.files[0]) await lookAt(target.files[0]);
  target.value = "";
});
document.addEventListener("click", (event) => {
  if (event.target.closest("#drop")) act("DELETE", `/api/v1/guide${location.search}`);
});
document.addEventListener("submit", (event) => {
  if (event.target.matches("#tolerance")) {
    event.preventDefault();
    keepTolerance(event.target);
  }
});
document.getElementById("source").hidden = false;
onReady((where) => {
  for (const hidden of where.querySelectorAll("[data-scripted]")) hidden.hidden = false;
});
narrow.addEventListener("change", renew);
if (narrow.matches) renew();
onChange(renew);
onChoice((name) => (name === "units" || name === "turn") && renew());

// Where the pictures come from, the live picture, and a still for whichever step asks for one.

import { request } from "../base/ask.js";
import { onChange } from "../base/live.js";
import { setOff } from "../base/off.js";
import { DeviceCamera } from "./camera.js";
import { keep, kept } from "./kept.js";
import { offerRecent, remember } from "./recent.js";
import { ShotWatcher } from "./shots.js";
import { ask, refuse } from "./work.js";

const LIVE_MS = 700;
const WORDS = {
  device: "Take the still now",
  host: "Take the still now",
  folder: "Take the newest still of the folder",
  files: "Choose a picture",
};
const byId = (id) => document.getElementById(id);
const video = byId("live-video");
const image = byId("live-image");
const camera = new DeviceCamera(video);
const shots = new ShotWatcher(video, sendShot);
const takers = [];
let sent = 0;
let liveTimer = 0;

/** `device`, `host`, `folder` or `files`. */
export function kind() {
  return document.querySelector("[name=source]:checked").value;
}

/** Whether stills can be taken one after the other without anybody choosing each. */
export function isCamera() {
  return kind() === "device" || kind() === "host";
}

function named() {
  return kind() === "folder" ? byId("folder-path").value.trim() : byId("host-address").value.trim();
}

// -- the live picture ----------------------------------------------------------------------

function showLive(which) {
  video.hidden = which !== "video";
  image.hidden = which !== "image";
  byId("live-none").hidden = which !== "none";
}

async function startDevice() {
  setOff(byId("device-start"), true);
  const outcome = await camera.start(byId("device-camera").value, () => {
    showLive("none");
    refuse("source-refusal", { headline: "The camera went away", to_do: "Plug it in and start it again." });
  });
  setOff(byId("device-start"), false);
  refuse("source-refusal", outcome.ok ? null : outcome);
  showLive(outcome.ok ? "video" : "none");
  if (outcome.ok) await listDevices();
  return outcome.ok;
}

async function listDevices() {
  const chosen = byId("device-camera").value;
  const options = (await DeviceCamera.all())
    .filter((device) => device.label)
    .map((device) => new Option(device.label, device.deviceId));
  byId("device-camera").replaceChildren(new Option("the one at the back", ""), ...options);
  byId("device-camera").value = chosen;
}

// The host's picture is asked for again once the last one is there; a slow camera is not hurried.
async function showHost(once = false) {
  clearTimeout(liveTimer);
  const source = named();
  if (!source || !["host", "folder"].includes(kind())) return;
  const path = `/api/v1/setup/picture?source=${encodeURIComponent(source)}`;
  const answer = await fetch(path, { cache: "no-store" }).catch(() => null);
  if (source !== named()) return;
  if (!answer?.ok) {
    const body = await answer?.json().catch(() => null);
    refuse("source-refusal", {
      headline: body?.title ?? "The service does not answer",
      to_do: body?.detail ?? "",
    });
    showLive("none");
    return;
  }
  refuse("source-refusal", null);
  remember(kind(), source);
  image.src = `${path}&at=${Date.now()}`;
  showLive("image");
  if (!once) liveTimer = setTimeout(keepHostLive, LIVE_MS);
}

function keepHostLive() {
  if (kind() === "host" && !byId("picture").hidden && !document.hidden) showHost();
}

/** Stops what need not run while another step is looked at. */
export function onStep(step) {
  clearTimeout(liveTimer);
  if (step === "picture" && kind() === "host" && !image.hidden) showHost();
}

// -- stills --------------------------------------------------------------------------------

async function post(blob, name) {
  const path = `/stills?name=${encodeURIComponent(name)}`;
  const answer = await ask("POST", path, blob, { type: "application/octet-stream" });
  if (answer.ok) return { ok: true, still: answer.body };
  return { ok: false, headline: answer.body?.title ?? answer.detail, to_do: answer.detail };
}

/** A still from the source: {ok, still} or why not. `file` is the one chosen by hand. */
export async function takeStill(name, file = null) {
  if (file) return post(file, file.name);
  if (kind() === "device") {
    if (!camera.isOn && !(await startDevice())) {
      return { ok: false, headline: "There is no live picture", to_do: "Start the camera first, at Picture." };
    }
    return post(await camera.still(), `${name}.jpg`);
  }
  if (kind() === "host" && !byId("watch-stop").hidden) {
    return { ok: false, headline: "The camera is watching for shots", to_do: "Stop watching, at Picture, take the still, and start again." };
  }
  const answer = await ask("POST", "/stills/host", { source: named() });
  if (answer.ok) return { ok: true, still: answer.body };
  return { ok: false, headline: answer.body?.title ?? answer.detail, to_do: answer.detail };
}

/** Puts the buttons that take a still for `step` where the page has its place for them.
 *
 * `taken(still)` gets what came; `refusalId` names the box for why nothing did.
 */
export function onTake(step, refusalId, taken, { many = false } = {}) {
  const place = document.querySelector(`[data-take="${step}"]`);
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button";
  button.id = `take-${step}`;
  const label = document.createElement("label");
  label.className = "button quiet";
  const words = document.createElement("span");
  const input = document.createElement("input");
  input.type = "file";
  input.id = `file-${step}`;
  input.accept = "image/jpeg,image/png,image/webp,image/heic,.heic,.heif";
  input.multiple = many;
  label.append(words, input);
  place.append(button, label);

  async function take(file) {
    setOff(button, true);
    setOff(input, true);
    const outcome = await takeStill(step, file);
    setOff(button, false);
    setOff(input, false);
    refuse(refusalId, outcome.ok ? null : outcome);
    if (outcome.ok) await taken(outcome.still);
    return outcome.ok;
  }
  button.addEventListener("click", () => take(null));
  input.addEventListener("change", async () => {
    const files = [...input.files];
    input.value = "";
    for (const file of files) await take(file);
  });
  takers.push(() => {
    button.hidden = kind() === "files";
    button.textContent = WORDS[kind()];
    words.textContent = many ? "Choose pictures" : "Choose a picture";
    label.classList.toggle("quiet", kind() !== "files");
  });
  takers.at(-1)();
  return take;
}

// -- the choice ----------------------------------------------------------------------------

function showChoice() {
  for (const part of document.querySelectorAll("[data-source]")) part.hidden = part.dataset.source !== kind();
  for (const show of takers) show();
  byId("watch-acts").hidden = kind() === "files";
  byId("watch-keep-open").hidden = kind() !== "device";
  refuse("source-refusal", null);
}

function choose() {
  keep("source", { kind: kind(), host: byId("host-address").value, folder: byId("folder-path").value });
  if (kind() !== "device") {
    shots.stop();
    camera.stop();
  }
  showLive("none");
  clearTimeout(liveTimer);
  showChoice();
}

// -- watching ------------------------------------------------------------------------------

function showWatch(isOn, said) {
  byId("watch-start").hidden = isOn;
  byId("watch-stop").hidden = !isOn;
  byId("watch-said").textContent = said;
}

// The host watches by itself, this page open or not.
async function watchHost(method, body) {
  const answer = await request(method, `/api/v1/watch${location.search}`, body);
  refuse("source-refusal", answer.ok ? null : { headline: answer.body?.title ?? answer.detail, to_do: answer.detail });
  if (answer.ok) showHostWatch(answer.body);
}

function showHostWatch({ state, source, said }) {
  if (shots.isOn) return;
  const words = { watching: `Watching ${source}.`, lost: `${source} is away; it is waited for.`, stopped: "" }[state];
  showWatch(state !== "stopped", [words, said].filter(Boolean).join(" "));
}

// This device watches as long as this page is open.
async function watchDevice() {
  if (!camera.isOn && !(await startDevice())) return;
  sent = 0;
  await shots.start();
  showWatch(true, "Watching: the next rest of the balls is taken.");
}

async function sendShot() {
  const blob = await camera.still();
  if (!blob || !shots.isOn) return;
  const path = `/api/v1/stills${location.search || "?"}&name=camera-${Date.now()}.jpg`;
  const answer = await request("POST", path, blob, { type: "application/octet-stream" });
  const at = new Date().toLocaleTimeString();
  if (answer.status === 201) sent += 1; // a picture that is the same to the last bit counts once
  const fate = answer.ok ? `${sent} still${sent === 1 ? "" : "s"} taken, the last at ${at}.` : `Not taken at ${at}: ${answer.detail}`;
  showWatch(true, `Watching. ${fate}`);
}

function startWatch() {
  return kind() === "device" ? watchDevice() : watchHost("PUT", { source: named() });
}

function stopWatch() {
  if (!shots.isOn) return watchHost("DELETE");
  shots.stop();
  return showWatch(false, "");
}

byId("source-kind").addEventListener("change", choose);
byId("device-start").addEventListener("click", startDevice);
byId("host-start").addEventListener("click", () => showHost());
byId("folder-start").addEventListener("click", () => showHost(true));
byId("watch-start").addEventListener("click", startWatch);
byId("watch-stop").addEventListener("click", stopWatch);
for (const id of ["host-address", "folder-path"]) byId(id).addEventListener("change", choose);
addEventListener("pagehide", () => {
  shots.stop();
  camera.stop();
});
onChange(async (change) => {
  if (change.kind !== "watch" && change.kind !== "hello") return;
  const answer = await request("GET", `/api/v1/watch${location.search}`);
  if (answer.ok) showHostWatch(answer.body);
});

const before = kept("source");
if (before) {
  document.querySelector(`[name=source][value="${before.kind}"]`).checked = true;
  byId("host-address").value = before.host || "0";
  byId("folder-path").value = before.folder;
}
showChoice();

// an address or a folder that is offered is a tap, and nothing need be typed
offerRecent();
byId("picture").addEventListener("click", ({ target }) => {
  const button = target.closest("[data-fill]");
  if (!button) return;
  byId(button.dataset.fill).value = button.dataset.value;
  choose();
  byId(button.dataset.start).click();
});

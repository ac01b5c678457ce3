// A tablet beside the table does not sleep while a practice runs.

import { onChange } from "../base/live.js";

const RUNS_MS = 30 * 60_000; // so long after the last thing that happened
let lock = null;
let last = 0;

const runs = () => Date.now() - last < RUNS_MS;

async function hold() {
  if (lock || !runs() || document.hidden || !("wakeLock" in navigator)) return;
  try {
    lock = await navigator.wakeLock.request("screen");
    // the browser lets go when the page is hidden
    lock.addEventListener("release", () => (lock = null));
  } catch {
    lock = null; // low battery, or not allowed here: nothing to be done
  }
}

function happened() {
  last = Date.now();
  hold();
}

document.addEventListener("visibilitychange", hold);
document.addEventListener("pointerdown", happened);
onChange(({ kind }) => kind !== "hello" && happened());
setInterval(() => {
  if (lock && !runs()) lock.release();
}, 60_000);

// Watches the table with this device's camera: every rest after a movement is posted as a still.

const WIDE = 320;
const HIGH = 180;
const LOOK_MS = 250;
const REST_MS = 1200; // a ball rolls its last centimetre in half a second
const LEVELS = 14; // grey levels; a camera's noise, averaged over its pixels, stays below 3
const MOVED = 17; // pixels of the small picture: half a ball on a table that fills it

export class ShotWatcher {
  #video;
  #rested;
  #canvas = document.createElement("canvas");
  #looks = [];
  #timer = 0;
  #hasMoved = true; // the first rest is news too
  #restSince = 0;
  #lock = null;

  /** `rested()` is called, and waited for, at every rest after a movement. */
  constructor(video, rested) {
    this.#video = video;
    this.#rested = rested;
    this.#canvas.width = WIDE;
    this.#canvas.height = HIGH;
  }

  get isOn() {
    return this.#timer !== 0;
  }

  async start() {
    this.stop();
    this.#looks = [];
    this.#hasMoved = true;
    this.#restSince = performance.now();
    this.#timer = setTimeout(() => this.#look(), LOOK_MS);
    // a screen that sleeps takes the camera with it; where it cannot be kept awake it may
    this.#lock = await navigator.wakeLock?.request("screen").catch(() => null);
  }

  stop() {
    clearTimeout(this.#timer);
    this.#timer = 0;
    this.#lock?.release().catch(() => {});
    this.#lock = null;
  }

  async #look() {
    const now = performance.now();
    const seen = this.#grey();
    // the picture before shows what is fast, the one of a rest ago what is slow
    const earlier = [this.#looks.at(-1), this.#looks.find((look) => now - look.at <= REST_MS)];
    if (earlier.some((look) => look && changed(look.grey, seen) > MOVED)) {
      this.#hasMoved = true;
      this.#restSince = now;
    }
    this.#looks.push({ at: now, grey: seen });
    while (now - this.#looks[0].at > 2 * REST_MS) this.#looks.shift();
    if (this.#hasMoved && now - this.#restSince >= REST_MS) {
      this.#hasMoved = false;
      await this.#rested();
    }
    if (this.isOn) this.#timer = setTimeout(() => this.#look(), LOOK_MS);
  }

  #grey() {
    const context = this.#canvas.getContext("2d", { willReadFrequently: true });
    context.drawImage(this.#video, 0, 0, WIDE, HIGH);
    const { data } = context.getImageData(0, 0, WIDE, HIGH);
    const grey = new Uint8Array(WIDE * HIGH);
    for (let k = 0; k < grey.length; k += 1) grey[k] = (data[4 * k] + 2 * data[4 * k + 1] + data[4 * k + 2]) >> 2;
    return grey;
  }
}

function changed(before, now) {
  let count = 0;
  for (let k = 0; k < now.length; k += 1) if (Math.abs(now[k] - before[k]) > LEVELS) count += 1;
  return count;
}

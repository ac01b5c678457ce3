// The still with what was found drawn over it: places are chosen, dragged and moved by keys.

import { make } from "./places.js";

const NEAR_PX = 26; // a finger's aim, in the page's own pixels
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const TAP_PX = 6; // less than this is a tap, not a drag

export class Stage {
  #svg;
  #image;
  #layers = {};
  #size = [1, 1];
  #marks = new Map();
  #chosen = "";
  #head = "";
  #drag = null;
  #on;

  /** `on` has `choose(name)`, `move(name, u, v, done)`, `tap(u, v)` and `leave()`. */
  constructor(host, on) {
    this.#on = on;
    this.#svg = make("svg", { class: "still-view", tabindex: "0", role: "application" });
    this.#svg.setAttribute("aria-label", "The still with the places that were found. Arrow keys move the chosen place, Page Up and Page Down choose another.");
    this.#image = make("image", {}, this.#svg);
    for (const layer of ["blind", "edges", "noses", "marks", "head"]) {
      this.#layers[layer] = make("g", { class: `layer-${layer}` }, this.#svg);
    }
    host.replaceChildren(this.#svg);
    this.#svg.addEventListener("pointerdown", (event) => this.#down(event));
    this.#svg.addEventListener("pointermove", (event) => this.#moved(event));
    this.#svg.addEventListener("pointerup", (event) => this.#up(event));
    this.#svg.addEventListener("pointercancel", () => { this.#drag = null; });
    this.#svg.addEventListener("keydown", (event) => this.#key(event));
    new ResizeObserver(() => this.#resized()).observe(this.#svg);
  }

  /** Width and height of the still. */
  get size() {
    return this.#size;
  }

  get picture() {
    return this.#image.getAttribute("href");
  }

  /** Puts another still on the stage; everything over it goes. */
  showStill({ picture, width_px, height_px }) {
    this.#size = [width_px, height_px];
    this.#svg.setAttribute("viewBox", `0 0 ${width_px} ${height_px}`);
    for (const [name, value] of [["width", width_px], ["height", height_px], ["href", picture]]) {
      this.#image.setAttribute(name, value);
    }
    this.showFound({});
  }

  /** Draws what was found: marks, stretches of edges, nose lines. */
  showFound({ marks = [], edges_px = [], noses_px = [], blind = {} }) {
    this.#marks = new Map(marks.map((mark) => [mark.name, mark]));
    if (!this.#marks.has(this.#chosen)) this.#chosen = "";
    const unit = this.#unit;
    this.#layers.edges.replaceChildren();
    for (const [u, v] of edges_px) {
      make("circle", { cx: u + 0.5, cy: v + 0.5, r: 1.4 * unit }, this.#layers.edges);
    }
    this.#drawHidden(blind.hidden_px ?? []);
    this.#layers.noses.replaceChildren();
    for (const line of noses_px) {
      const points = line.map(([u, v]) => `${u + 0.5},${v + 0.5}`).join(" ");
      make("polyline", { points }, this.#layers.noses);
    }
    this.#drawMarks();
  }

  // What hangs before the bed: striped, with a word in it.
  #drawHidden(rings) {
    const layer = this.#layers.blind;
    layer.replaceChildren();
    if (!rings.length) return;
    const unit = this.#unit;
    const pattern = make("pattern", { id: "hidden-stripes", width: 9 * unit, height: 9 * unit, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, make("defs", {}, layer));
    make("rect", { width: 3 * unit, height: 9 * unit, class: "stripe" }, pattern);
    for (const ring of rings) {
      make("polygon", { class: "hidden-part", fill: "url(#hidden-stripes)", points: ring.map(([u, v]) => `${u + 0.5},${v + 0.5}`).join(" ") }, layer);
      const middle = [0, 1].map((k) => ring.reduce((sum, place) => sum + place[k], 0) / ring.length);
      const text = make("text", { x: middle[0], y: middle[1], "font-size": 15 * unit, "text-anchor": "middle" }, layer);
      text.textContent = "hidden";
    }
  }

  /** Says on the still where the head end is. */
  showHead(head) {
    this.#head = head;
    const [wide, high] = this.#size;
    const layer = this.#layers.head;
    layer.replaceChildren();
    if (!head) return;
    const unit = this.#unit * Math.min(1, Math.max(0.6, this.#svg.clientWidth / 800));
    const edge = 14 * unit;
    const at = { left: [edge, high / 2, -90], right: [wide - edge, high / 2, 90], top: [wide / 2, edge, 0], bottom: [wide / 2, high - edge, 0] }[head];
    const text = make("text", { x: 0, y: 5 * unit, "font-size": 15 * unit, "text-anchor": "middle", transform: `translate(${at[0]} ${at[1]}) rotate(${at[2]})` }, layer);
    text.textContent = "head end";
  }

  /** A mark by name; undefined where there is none. */
  mark(name) {
    return this.#marks.get(name);
  }

  names() {
    return [...this.#marks.keys()];
  }

  /** Puts a mark where a person says it is. */
  place(name, u, v) {
    const before = this.#marks.get(name);
    const kind = name.endsWith(" spot") ? "spot" : name.includes("/") ? "nose point" : "sight";
    this.#marks.set(name, { ...before, name, kind, u, v, standing: "by hand", off_mm: null });
    this.#drawMarks();
  }

  remove(name) {
    this.#marks.delete(name);
    if (this.#chosen === name) this.#chosen = "";
    this.#drawMarks();
  }

  choose(name) {
    this.#chosen = this.#marks.has(name) ? name : "";
    this.#drawMarks();
  }

  // -- drawing -----------------------------------------------------------------------------

  /** Pixels of the still in one of the page's. */
  get unit() {
    return this.#unit;
  }

  get #unit() {
    return this.#size[0] / Math.max(this.#svg.clientWidth || 960, 1);
  }

  #resized() {
    this.#drawMarks();
    if (this.#head) this.showHead(this.#head);
  }

  #drawMarks() {
    // on a small still large marks would hide what they mark
    const unit = this.#unit * Math.min(1, Math.max(0.55, this.#svg.clientWidth / 800));
    this.#layers.marks.replaceChildren();
    for (const mark of this.#marks.values()) {
      const isChosen = mark.name === this.#chosen;
      const group = make("g", {
        class: `mark ${mark.kind.replace(" ", "-")}${isChosen ? " chosen" : ""}`,
        "data-mark": mark.name,
        "data-standing": mark.standing,
        transform: `translate(${mark.u + 0.5} ${mark.v + 0.5}) scale(${unit})`,
      }, this.#layers.marks);
      if (isChosen) make("circle", { class: "ring", r: 16 }, group);
      const shape = { sight: "M-7 0L0 -7L7 0L0 7Z", "nose point": "M-5 0A5 5 0 1 0 5 0A5 5 0 1 0 -5 0", spot: "M-6 0H6M0 -6V6" }[mark.kind];
      make("path", { class: "halo", d: shape }, group);
      make("path", { class: "shape", d: shape }, group);
      if (mark.standing === "set aside") make("path", { class: "cross", d: "M-8 -8L8 8M-8 8L8 -8" }, group);
      make("circle", { class: "heart", r: 1 }, group);
    }
  }

  // -- hands -------------------------------------------------------------------------------

  #at(event) {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.#svg.getScreenCTM().inverse());
    return [point.x - 0.5, point.y - 0.5];
  }

  #nearest(u, v) {
    const limit = NEAR_PX * this.#unit;
    let best = "";
    let least = limit;
    for (const mark of this.#marks.values()) {
      // the chosen one is easier to take hold of than its neighbours
      const away = Math.hypot(mark.u - u, mark.v - v) * (mark.name === this.#chosen ? 0.5 : 1);
      if (away < least) [best, least] = [mark.name, away];
    }
    return best;
  }

  #down(event) {
    if (event.button) return;
    const [u, v] = this.#at(event);
    const name = this.#nearest(u, v);
    this.#drag = { name, from: [event.clientX, event.clientY], at: [u, v], isMoving: false };
    if (!name) return;
    const mark = this.#marks.get(name);
    this.#drag.offset = [mark.u - u, mark.v - v];
    this.#svg.setPointerCapture(event.pointerId);
    event.preventDefault();
    this.#svg.focus({ preventScroll: true });
    this.choose(name);
    this.#on.choose(name);
  }

  #moved(event) {
    const drag = this.#drag;
    if (!drag?.name) return;
    const away = Math.hypot(event.clientX - drag.from[0], event.clientY - drag.from[1]);
    if (!drag.isMoving && away < TAP_PX) return;
    drag.isMoving = true;
    const [u, v] = this.#at(event);
    this.#put(drag.name, u + drag.offset[0], v + drag.offset[1], false);
  }

  #up(event) {
    const drag = this.#drag;
    this.#drag = null;
    if (!drag) return;
    if (drag.isMoving) {
      const mark = this.#marks.get(drag.name);
      this.#on.move(mark.name, mark.u, mark.v, true);
    } else if (!drag.name && Math.hypot(event.clientX - drag.from[0], event.clientY - drag.from[1]) < TAP_PX) {
      this.#on.tap(...drag.at);
    }
  }

  #key(event) {
    const way = ARROWS[event.key];
    if (way && this.#chosen) {
      const step = event.shiftKey ? 10 : 1;
      this.nudge(way[0] * step, way[1] * step);
    } else if (event.key === "PageDown" || event.key === "PageUp") {
      const names = this.names();
      if (!names.length) return;
      const next = names.indexOf(this.#chosen) + (event.key === "PageDown" ? 1 : -1);
      this.choose(names.at(next % names.length));
      this.#on.choose(this.#chosen);
    } else {
      return;
    }
    event.preventDefault();
  }

  /** Moves the chosen mark by pixels of the still. */
  nudge(du, dv, done = true) {
    const mark = this.#marks.get(this.#chosen);
    if (mark) this.#put(mark.name, mark.u + du, mark.v + dv, done);
  }

  #put(name, u, v, done) {
    const [wide, high] = this.#size;
    const inside = [Math.min(Math.max(u, 0), wide - 1), Math.min(Math.max(v, 0), high - 1)];
    this.place(name, ...inside);
    this.#on.move(name, ...inside, done);
  }
}

// The chosen place, enlarged: the picture is dragged under the cross, a pixel at a time.

import { make } from "./places.js";

const LEAST = 22; // pixels of the still to each side
const MOST = 80;
const AIM = 12; // what a finger misses by, in the page's own pixels

export class Loupe {
  #svg;
  #image;
  #at = null;
  #drag = null;
  #half = LEAST;

  /** `moved(du, dv, done)` is told pixels of the still. */
  constructor(svg, moved) {
    this.#svg = svg;
    this.#image = make("image", { "image-rendering": "pixelated" }, svg);
    this.cross = make("path", { class: "loupe-cross" }, svg);
    svg.addEventListener("pointerdown", (event) => {
      this.#drag = [event.clientX, event.clientY];
      svg.setPointerCapture(event.pointerId);
      event.preventDefault();
    });
    svg.addEventListener("pointermove", (event) => this.#moved(event, moved));
    for (const kind of ["pointerup", "pointercancel"]) {
      svg.addEventListener(kind, () => {
        if (this.#drag) moved(0, 0, true);
        this.#drag = null;
      });
    }
  }

  /** Shows the still around a place; `unit` is how many of its pixels make one of the page's. */
  show(picture, [wide, high], unit, u, v) {
    this.#half = Math.min(Math.max(AIM * unit, LEAST), MOST);
    const half = this.#half;
    this.#at = [u, v];
    for (const [name, value] of [["href", picture], ["width", wide], ["height", high]]) {
      if (this.#image.getAttribute(name) !== String(value)) this.#image.setAttribute(name, value);
    }
    const [x, y] = [u + 0.5, v + 0.5];
    this.#svg.setAttribute("viewBox", `${x - half} ${y - half} ${2 * half} ${2 * half}`);
    const [near, far] = [half / 10, half / 2.2];
    this.cross.setAttribute("d", `M${x - far} ${y}H${x - near}M${x + near} ${y}H${x + far}M${x} ${y - far}V${y - near}M${x} ${y + near}V${y + far}`);
  }

  #moved(event, moved) {
    if (!this.#drag || !this.#at) return;
    const scale = (2 * this.#half) / this.#svg.clientWidth;
    moved((this.#drag[0] - event.clientX) * scale, (this.#drag[1] - event.clientY) * scale, false);
    this.#drag = [event.clientX, event.clientY];
  }
}

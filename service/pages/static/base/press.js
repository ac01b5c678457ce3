// A press that may become a tap: what lies under it stays until it was one, or the tap is lost.

const TAP_MS = 1000; // a longer press is no tap, and nothing waits for it
const CLICK_MS = 100; // from a finger's lifting to its click; scrolling ends without one

let pressed = null;
let lift = () => {};

addEventListener(
  "pointerdown",
  () => {
    lift();
    let over;
    const press = new Promise((resolve) => { over = resolve; });
    pressed = press;
    lift = () => {
      if (pressed === press) pressed = null;
      over();
    };
    setTimeout(lift, TAP_MS);
  },
  true,
);
for (const [kind, wait_ms] of [["pointerup", CLICK_MS], ["pointercancel", 0], ["click", 0]]) {
  // what the event itself does comes first
  addEventListener(kind, () => setTimeout(lift, wait_ms), true);
}

/** Resolves when nothing on the page is being pressed. */
export async function untouched() {
  while (pressed) await pressed;
}

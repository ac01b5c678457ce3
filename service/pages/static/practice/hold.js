// The drawing stays where it is on the screen while a shot is planned: a finger aims at it, and the
// words above it come, go and grow with every tap.

const page = document.querySelector(".practice");
const view = document.getElementById("top-view");
let held = view.getBoundingClientRect().top; // where it is to stay, on the screen
let room = 0; // left free above it, for words that went

const topNow = () => view.getBoundingClientRect().top;

/** Has the drawing stay where it is now: after a scroll that was meant. */
export function holdHere() {
  held = topNow();
}

function reserve(px) {
  if (px === room) return;
  room = px;
  view.style.marginTop = px ? `${px}px` : "";
}

function keep() {
  if (page.dataset.focus !== "plan") {
    reserve(0);
    return holdHere();
  }
  const sunk = topNow() - held;
  if (Math.abs(sunk) < 1) return;
  // room that was left free goes first, then the page scrolls; what is missing at its top is left free
  reserve(Math.max(room - sunk, 0));
  scrollBy({ top: topNow() - held, behavior: "instant" });
  if (topNow() < held) reserve(room + held - topNow());
}

addEventListener("scroll", holdHere, { passive: true });
addEventListener("resize", holdHere);
// called after layout and before anything is painted, so that nothing is seen to move
const watching = new ResizeObserver(keep);
for (const part of document.querySelectorAll(".strip, .side > *")) watching.observe(part);

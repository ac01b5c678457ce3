// The parts of a page that shows a reading: the practice page's, or an attempt's.

import { onReady, refresher } from "../base/parts.js";

/** Resolves when the parts are at least as new as the call. */
export const refresh = refresher(() => document.querySelector("[data-parts]").dataset.parts + location.search);

// A picture that was put away or lost is said in words; the attempt's figures stand without it.
function sayGone(image) {
  const words = document.createElement("p");
  words.className = "gone soft";
  words.textContent = "This picture is not kept any more. Places and figures stand as they were read.";
  image.replaceWith(words);
}

const IS_STILL = ".still img, #before-still img";
document.addEventListener("error", (event) => event.target.matches?.(IS_STILL) && sayGone(event.target), true);
onReady((where) => {
  for (const image of where.querySelectorAll(IS_STILL)) if (image.complete && !image.naturalWidth && image.currentSrc) sayGone(image);
});

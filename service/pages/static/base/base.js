// On every page: the strip of states is kept new, and so is what the reader chose.

import { onChange } from "./live.js";
import { refresher } from "./parts.js";
import { onChoice } from "./screen.js";

const EVERY_MS = 60_000; // ages and the disk change without an event
const refreshStrip = refresher(() => `/strip${location.search}`);

onChange(refreshStrip);
// what says lengths and is no part of its own comes anew with its page
const isWhole = document.querySelector("[data-anew]") !== null;
onChoice((name) => name === "units" && (isWhole ? location.reload() : refreshStrip()));
setInterval(refreshStrip, EVERY_MS);

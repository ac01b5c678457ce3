// On every page: the strip of states is kept new, and so is what the reader chose.

import { onChange } from "./live.js";
import { refresher } from "./parts.js";
import { onChoice } from "./screen.js";

const EVERY_MS = 60_000; // ages and the disk change without an event
const refreshStrip = refresher(() => `/strip${location.search}`);

onChange(refreshStrip);
onChoice((name) => name === "units" && refreshStrip());
setInterval(refreshStrip, EVERY_MS);

// All tables: whatever changes at one has the cards fetched again, once a second at most.

import { onChange } from "../base/live.js";
import { refresher } from "../base/parts.js";
import { onChoice } from "../base/screen.js";

const PAUSE_MS = 1000;
const refresh = refresher("/tables/parts");
let isDue = false;

onChange(() => {
  if (isDue) return;
  isDue = true;
  setTimeout(() => {
    isDue = false;
    refresh();
  }, PAUSE_MS);
});
onChoice((name) => name === "units" && refresh());

// One attempt: its names, its note, and whether it counts.

import { onChange } from "../base/live.js";
import { onChoice } from "../base/screen.js";
import "../practice/after.js";
import "../practice/naming.js";
import { refresh } from "../practice/parts.js";

onChange(refresh);
onChoice((name) => ["units", "turn", "shape"].includes(name) && refresh());

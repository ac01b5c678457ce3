// The progress page: every attempt that comes, goes or is struck has its parts fetched again.
//
// What is folded is worked out once it is opened: the parts are asked for with what is open now.

import { onChange } from "../base/live.js";
import { onReady, refresher } from "../base/parts.js";
import { onChoice } from "../base/screen.js";

const refresh = refresher(() => {
  const asked = new URLSearchParams(location.search);
  asked.delete("open");
  for (const each of document.querySelectorAll("details[open][id]")) asked.append("open", each.id);
  return `/progress/parts?${asked}`;
});

onReady((inside) => {
  for (const each of inside.querySelectorAll("[data-later]")) each.textContent = "One moment …";
  if (inside.querySelector("details[open] > [data-later]")) refresh();
});
document.addEventListener(
  "toggle",
  ({ target }) => target.open && target.querySelector("[data-later]") && refresh(),
  true,
);
onChange(refresh);
onChoice((name) => name === "units" && refresh());

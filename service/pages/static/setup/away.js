// A further camera that hangs over the table no longer.

import { act } from "../base/ask.js";
import { setOff } from "../base/off.js";
import { refuse } from "./work.js";

const button = document.getElementById("take-away");

button?.addEventListener("click", async () => {
  const here = new URLSearchParams(location.search);
  here.set("camera", button.dataset.camera);
  setOff(button, true);
  const outcome = await act("DELETE", `/api/v1/calibration?${here}`);
  setOff(button, false);
  refuse("away-refusal", outcome.ok ? null : { headline: outcome.body?.title ?? outcome.detail, to_do: outcome.detail });
  if (!outcome.ok) return;
  here.delete("camera");
  location.assign(`/setup${here.size ? `?${here}` : ""}#picture`);
});

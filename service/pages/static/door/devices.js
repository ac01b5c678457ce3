// A code for another device, and shutting one out.

import { act } from "../base/ask.js";
import { onChange } from "../base/live.js";
import { refresher } from "../base/parts.js";

const shown = document.getElementById("code");
const list = refresher("/devices/list");

document.getElementById("make").addEventListener("click", async () => {
  const role = document.querySelector("#role input:checked").value;
  const told = await act("POST", `/devices/code?role=${role}`);
  if (told.ok) shown.innerHTML = told.body;
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-revoke]");
  if (!button) return;
  // the second touch does it: a device that is out has to be paired anew
  if (!button.dataset.sure) {
    const { textContent, ariaLabel } = button;
    const isThis = "isThis" in button.dataset;
    button.dataset.sure = "yes";
    button.textContent = isThis ? "Really shut out this very device" : "Really shut out";
    button.ariaLabel = ariaLabel.replace(textContent, button.textContent);
    setTimeout(() => {
      delete button.dataset.sure;
      Object.assign(button, { textContent, ariaLabel });
    }, 5000);
    return;
  }
  const told = await act("DELETE", `/api/v1/devices/${button.dataset.revoke}`);
  if (told.ok) await list();
});

onChange((change) => change.kind === "device" && list());

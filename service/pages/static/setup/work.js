// Work that takes longer than a blink: asked for until it is done, its progress shown, refusals said.

import { request, SILENT } from "../base/ask.js";
import { chosen } from "../base/screen.js";

const AGAIN_MS = 200;
const API = "/api/v1/setup";

/** The address with what lengths are said in. */
export function inUnits(path) {
  const units = chosen("units") || document.querySelector(".steps").dataset.units;
  return `${path}${path.includes("?") ? "&" : "?"}units=${units}`;
}

/** A request to the set-up; `detail` and `headline` say why not. */
export function ask(method, path, body, more) {
  return request(method, `${API}${path}`, body, more);
}

const pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

/** Begins work and waits for it: {ok, work, headline, to_do, detail}. `id` names its progress. */
export async function work(method, path, body, { id, isStale = () => false } = {}) {
  const box = id && document.getElementById(`${id}-work`);
  const begun = await ask(method, inUnits(path), body);
  if (!begun.ok) return refusal(begun);
  let told = begun.body;
  while (told.state === "waiting" || told.state === "working") {
    if (isStale()) return { ok: false, stale: true };
    showProgress(box, told);
    await pause(AGAIN_MS);
    const answer = await ask("GET", inUnits(`/tasks/${told.id}`));
    if (!answer.ok) {
      hide(box);
      return refusal(answer);
    }
    told = answer.body;
  }
  if (isStale()) return { ok: false, stale: true };
  hide(box);
  if (told.state === "done") return { ok: true, work: told };
  const { headline, to_do, detail, code, fields } = told.refusal;
  return { ok: false, work: told, headline, to_do, detail, code, fields };
}

function showProgress(box, told) {
  if (!box) return;
  box.hidden = false;
  box.querySelector("progress").value = told.part;
  const words = told.step ? `${told.step} …` : "";
  const line = box.querySelector("span");
  if (line.textContent !== words) line.textContent = words;
}

function hide(box) {
  if (box) box.hidden = true;
}

function refusal({ status, body, detail }) {
  if (!status) return { ok: false, headline: SILENT, to_do: "It is tried again by itself.", detail: "" };
  return { ok: false, headline: body?.title ?? detail, to_do: detail, detail, code: body?.code };
}

/** Shows a refusal in its box, or empties it. */
export function refuse(box, outcome) {
  const line = typeof box === "string" ? document.getElementById(box) : box;
  line.hidden = !outcome;
  line.replaceChildren();
  if (!outcome) return;
  const strong = document.createElement("b");
  strong.textContent = `${outcome.headline}. `;
  line.append(strong, outcome.to_do ?? "");
  line.scrollIntoView({ block: "nearest" });
}

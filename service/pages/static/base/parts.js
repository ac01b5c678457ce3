// Keeps elements with `data-part` as new as the service: fetched again, swapped where they changed.

import { say, SILENT } from "./ask.js";
import { untouched } from "./press.js";

const lastHtml = new Map();
const readied = [];

/** Has `ready(element)` called for what is on the page now and for every part put in later. */
export function onReady(ready) {
  readied.push(ready);
  ready(document);
}

/** A function that fetches the parts at `path` and puts them in.
 *
 * It resolves when they are at least as new as the call; calls during a fetch share the next one.
 */
export function refresher(path) {
  let running = null;
  let isStale = false;
  let has = { from: null, tag: null }; // what came last, and its tag: the service says whether it is new
  const address = () => (typeof path === "function" ? path() : path);
  async function fetchParts() {
    try {
      do {
        isStale = false;
        const from = address();
        const headers = has.from === from && has.tag ? { "If-None-Match": has.tag } : {};
        const answer = await fetch(from, { cache: "no-store", headers });
        if (answer.status === 304) continue;
        // shut out: nothing here will be new again before the device is paired anew
        if (answer.status === 401) location.assign("/pair");
        if (!answer.ok) throw new Error(String(answer.status));
        await putParts(await answer.text());
        has = { from, tag: answer.headers.get("ETag") };
      } while (isStale);
    } catch {
      say("off", SILENT);
    } finally {
      running = null;
    }
  }
  return () => {
    isStale = true;
    running ??= fetchParts();
    return running;
  };
}

/** Puts the parts of some HTML in the place of those that differ, as soon as no finger is on the page. */
export async function putParts(html) {
  await untouched();
  const fresh = new DOMParser().parseFromString(html, "text/html");
  for (const part of fresh.querySelectorAll("[data-part]")) {
    const here = document.getElementById(part.id);
    // compared with what came last: what the scripts changed since is no news
    if (!here || lastHtml.get(part.id) === part.outerHTML) continue;
    lastHtml.set(part.id, part.outerHTML);
    const focus = focusIn(here);
    const opened = Array.from(here.querySelectorAll("details[open][id]"), (each) => each.id);
    // the element itself stays, so that a reader of live regions hears the change
    for (const { name } of [...here.attributes]) {
      if (name.startsWith("data-") && !part.hasAttribute(name)) here.removeAttribute(name);
    }
    for (const { name, value } of part.attributes) {
      if (name.startsWith("data-")) here.setAttribute(name, value);
    }
    here.hidden = part.hidden;
    here.replaceChildren(...part.childNodes);
    for (const id of opened) document.getElementById(id)?.setAttribute("open", "");
    for (const ready of readied) ready(here);
    if (focus) here.querySelector(focus)?.focus();
  }
}

// What has the focus inside a part that is about to be replaced, as a selector for its successor.
function focusIn(part) {
  const held = document.activeElement;
  if (!held || held === part || !part.contains(held)) return null;
  if (held.id) return `#${CSS.escape(held.id)}`;
  return held.name ? `[name="${CSS.escape(held.name)}"]` : null;
}

for (const part of document.querySelectorAll("[data-part]")) lastHtml.set(part.id, part.outerHTML);

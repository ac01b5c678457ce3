// Live changes: one stream a page, which connects again by itself after the service was away.

import { say } from "./ask.js";

const AGAIN_MS = 2000;
const listeners = new Set();
let stream = null;

/** Has `listener(change)` called for every change; `kind` "hello" also after a new connection. */
export function onChange(listener) {
  listeners.add(listener);
  return () => listeners.delete(listener);
}

function hear(event) {
  const change = JSON.parse(event.data);
  if (change.kind === "hello") say("on", "Live");
  for (const listener of listeners) listener(change);
}

function connect() {
  stream = new EventSource("/api/v1/events");
  stream.addEventListener("change", hear);
  stream.addEventListener("error", () => {
    say("off", "Connection lost, trying again …");
    // a browser gives up where the service answered with an error; it is asked again all the same
    if (stream.readyState === EventSource.CLOSED) setTimeout(connect, AGAIN_MS);
  });
}

// a page that comes back from the browser's memory, or a tablet that slept, catches up
addEventListener("pageshow", (event) => event.persisted && reconnect());
addEventListener("pagehide", () => stream?.close());
addEventListener("online", reconnect);

function reconnect() {
  stream?.close();
  connect();
}

connect();

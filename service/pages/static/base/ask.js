// Requests to the service, and what is said of their outcome.

export const SILENT = "The service does not answer";
const SLOW_MS = 1000;
const link = document.getElementById("link");

/** Says how the connection stands: `on`, `busy`, `off` or `refused`. */
export function say(state, words) {
  link.dataset.state = state;
  link.textContent = words;
}

/** What a refusal says; a fault's id too, by which the log finds it. */
function told(answer, problem) {
  const words = problem.detail ?? SILENT;
  return answer.status >= 500 && problem.request_id ? `${words} Request ${problem.request_id}.` : words;
}

/** Asks the service for something: {ok, status, body, detail}; `detail` says why not, in words. */
export async function request(method, path, body, { type = "application/json", signal } = {}) {
  const isText = typeof body === "string" || body instanceof Blob;
  const sent = body === undefined || body === null || isText ? body : JSON.stringify(body);
  try {
    const headers = sent ? { "Content-Type": type } : {};
    const answer = await fetch(path, { method, body: sent, headers, signal });
    const held = await answer.text();
    const parsed = held && answer.headers.get("Content-Type")?.includes("json") ? JSON.parse(held) : held;
    if (answer.ok) return { ok: true, status: answer.status, body: parsed, detail: "" };
    return { ok: false, status: answer.status, body: parsed, detail: told(answer, parsed) };
  } catch (fault) {
    if (fault.name === "AbortError") return { ok: false, status: 0, body: null, detail: "", aborted: true };
    return { ok: false, status: 0, body: null, detail: SILENT };
  }
}

/** Says the outcome of a request where everybody sees it; gives the outcome on. */
export function sayOutcome(outcome) {
  if (outcome.ok) say("on", "Live");
  else if (!outcome.aborted) say(outcome.status ? "refused" : "off", outcome.detail);
  return outcome;
}

/** The same as `request`, with `words` shown where it takes longer than a second, and its outcome. */
export async function act(method, path, body, { words = "Working …", ...more } = {}) {
  const slow = setTimeout(() => say("busy", words), SLOW_MS);
  const outcome = await request(method, path, body, more);
  clearTimeout(slow);
  return sayOutcome(outcome);
}

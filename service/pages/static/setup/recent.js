// Addresses and folders that showed a picture before: a tap the next time, on this device alone.

const KEY = "restmark-sources";
const MOST = 4;

function held() {
  try {
    return JSON.parse(localStorage.getItem(KEY) ?? "{}");
  } catch {
    return {};
  }
}

/** Keeps `source` of that kind, the newest first; a camera's number is offered anyway. */
export function remember(kind, source) {
  if (/^\d*$/.test(source) || source.includes("@")) return; // a password stays in no browser
  const now = held();
  const others = (now[kind] ?? []).filter((each) => each !== source);
  localStorage.setItem(KEY, JSON.stringify({ ...now, [kind]: [source, ...others].slice(0, MOST) }));
  offerRecent();
}

/** Puts a button for each where the page has its place for them. */
export function offerRecent() {
  for (const place of document.querySelectorAll("[data-recent]")) {
    const all = (held()[place.dataset.recent] ?? []).map((source) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "button quiet recent-source";
      button.dataset.fill = place.dataset.fillIn;
      button.dataset.start = place.dataset.startBy;
      button.dataset.value = source;
      button.textContent = source;
      return button;
    });
    place.replaceChildren(...all);
  }
}

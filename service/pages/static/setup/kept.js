// What the player chose and took, kept in the browser over a reload; the service may have forgotten.

// one camera's still, height or head end is never another's
const asked = new URLSearchParams(location.search);
const KEY = `restmark-setup ${asked.get("table") ?? ""} ${asked.get("camera") ?? ""}`;

function held() {
  try {
    return JSON.parse(sessionStorage.getItem(KEY) ?? "{}");
  } catch {
    return {};
  }
}

/** What was kept under a name; `fallback` where nothing was. */
export function kept(name, fallback = null) {
  return held()[name] ?? fallback;
}

/** Keeps a value. */
export function keep(name, value) {
  sessionStorage.setItem(KEY, JSON.stringify({ ...held(), [name]: value }));
}

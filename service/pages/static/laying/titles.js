// Names for what was just made: nobody need type one.

/** A plan's first title: the day and the time of day. */
export function freshTitle(now = new Date()) {
  const day = now.toLocaleDateString(document.documentElement.lang, { weekday: "long", day: "numeric", month: "long" });
  return `${day}, ${String(now.getHours()).padStart(2, "0")}:${String(now.getMinutes()).padStart(2, "0")}`;
}

// The shot that is planned: what the player said of it so far, and the document that it makes.

const KEPT = "restmark-limits";
export const STEPS = ["pot", "pocket", "next", "next_pocket", "ready"];
const ANY_CUT = [0, 90];
// a leave that most shots allow, until the player says otherwise: then the last one said
const FIRST_LIMITS = { cut_deg: [5, 45], distance_mm: [150, 1100], side: "either", cushion_mm: 0 };

function keptLimits() {
  try {
    return { ...FIRST_LIMITS, ...JSON.parse(localStorage.getItem(KEPT) ?? "{}") };
  } catch {
    return { ...FIRST_LIMITS };
  }
}

/** A shot of which nothing was said yet. */
export function emptyShot() {
  return { pot: null, pocket: null, next: null, next_pocket: null, zone: null, route_mm: null, ...keptLimits() };
}

/** The shot that an intent's document says. */
export function shotOf(intent) {
  const far = intent.distance_mm?.[1] ?? null;
  return {
    ...emptyShot(),
    pot: intent.pot ?? null,
    pocket: intent.pocket ?? null,
    next: intent.next ?? null,
    next_pocket: intent.next_pocket ?? (intent.next ? "any" : null),
    zone: intent.zone ?? null,
    route_mm: intent.route_mm ?? null,
    cut_deg: intent.cut_deg ?? ANY_CUT,
    distance_mm: [intent.distance_mm?.[0] ?? 0, far],
    side: intent.side ?? "either",
    cushion_mm: intent.cushion_mm ?? 0,
    others: Object.fromEntries(["reach", "over_ball"].filter((key) => key in intent).map((key) => [key, intent[key]])),
  };
}

/** The intent's document; null while too little was said. */
export function documentOf(shot) {
  if (!shot.next && !shot.zone) return null;
  const said = { ...shot.others };
  for (const key of ["pot", "pocket", "next"]) if (shot[key]) said[key] = shot[key];
  if (shot.next_pocket && shot.next_pocket !== "any") said.next_pocket = shot.next_pocket;
  if (shot.zone) said.zone = shot.zone;
  else {
    said.cut_deg = shot.cut_deg;
    said.distance_mm = shot.distance_mm;
    if (shot.side !== "either") said.side = shot.side;
    if (shot.cushion_mm) said.cushion_mm = shot.cushion_mm;
  }
  if (shot.route_mm) said.route_mm = shot.route_mm;
  return said;
}

/** What is asked for next; a drawn zone needs no next ball. */
export function stepOf(shot) {
  if (!shot.pot) return "pot";
  if (!shot.pocket) return "pocket";
  if (shot.zone && !shot.next) return "ready";
  if (!shot.next) return "next";
  return shot.next_pocket ? "ready" : "next_pocket";
}

/** Keeps the limits for the next shots of this screen. */
export function keepLimits({ cut_deg, distance_mm, side, cushion_mm }) {
  localStorage.setItem(KEPT, JSON.stringify({ cut_deg, distance_mm, side, cushion_mm }));
}

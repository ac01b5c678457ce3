// Says things aloud by the browser's own voice, and sounds a tone; both off until chosen.

import { chosen } from "./screen.js";

const TONES_HZ = { in: [660, 880], close: [520, 520], out: [330, 247] };
const NOTE_S = 0.16;
const LOUD = 0.25;
let sounds = null;

/** Says a sentence, where the reader chose so. The last one said is cut short by a new one. */
export function speak(words) {
  if (chosen("voice") !== "on" || !("speechSynthesis" in window)) return;
  speechSynthesis.cancel();
  const spoken = new SpeechSynthesisUtterance(words.replaceAll(" mm", " millimetres").replaceAll("·", ","));
  spoken.lang = document.documentElement.lang;
  speechSynthesis.speak(spoken);
}

/** Sounds two notes: up for `in`, level for `close`, down for `out`. */
export function chime(tone) {
  const notes = TONES_HZ[tone];
  if (chosen("tone") !== "on" || !notes) return;
  sounds ??= new AudioContext();
  sounds.resume();
  notes.forEach((hz, k) => note(hz, sounds.currentTime + k * NOTE_S));
}

function note(hz, from) {
  const voice = sounds.createOscillator();
  const loudness = sounds.createGain();
  voice.frequency.value = hz;
  loudness.gain.setValueAtTime(0, from);
  loudness.gain.linearRampToValueAtTime(LOUD, from + 0.02);
  loudness.gain.linearRampToValueAtTime(0, from + NOTE_S);
  voice.connect(loudness).connect(sounds.destination);
  voice.start(from);
  voice.stop(from + NOTE_S);
}

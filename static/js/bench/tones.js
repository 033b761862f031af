/* What happened, for the ear and for the eye at once: a tone, a shape and a colour for kept, confirmed, caution, ready, refused.
   How loud is the person's choice, on <html data-tones>: off, soft or loud. Words that matter stay until the next tap. */
const LEVEL = { off: 0, soft: 0.07, loud: 0.35 };
/* Hertz, seconds it sounds, seconds until the next one. */
const TONES = {
  kept: [[660, 0.07, 0]],
  confirmed: [[660, 0.06, 0.08], [990, 0.1, 0]],
  caution: [[440, 0.14, 0.2], [440, 0.14, 0]],
  ready: [[880, 0.12, 0.18], [880, 0.12, 0.18], [1175, 0.24, 0]],
  refused: [[330, 0.18, 0.2], [196, 0.34, 0]],
};
const SHAPES = { kept: "ring-open", confirmed: "tick", caution: "short", ready: "timer", refused: "refused" };
const SPOKEN = { caution: "Caution.", refused: "Refused." };
let audio = null, clear = 0, sayBox = null, signBox = null, last = "", lastAt = -Infinity;

/* Browsers let a page sound only after a tap or a key. */
function wake() {
  if (LEVEL[document.documentElement.dataset.tones ?? "soft"] === 0 || navigator.userActivation?.hasBeenActive === false) return;
  audio ??= globalThis.AudioContext ? new AudioContext() : null;
  if (audio?.state === "suspended") audio.resume().catch(() => {});
}

export function play(kind) {
  const level = LEVEL[document.documentElement.dataset.tones ?? "soft"] ?? LEVEL.soft;
  document.documentElement.dataset.lastTone = level ? kind : "";
  // Many of a kind at once, as when a long wait is sent, sound once.
  const again = kind === last && performance.now() - lastAt < 500;
  if (!level || again) return;
  [last, lastAt] = [kind, performance.now()];
  wake();
  if (!audio) return;
  let at = audio.currentTime + 0.01;
  for (const [hertz, lasts, next] of TONES[kind]) {
    const tone = audio.createOscillator(), volume = audio.createGain();
    tone.type = kind === "refused" ? "square" : "sine";
    tone.frequency.value = hertz;
    volume.gain.setValueAtTime(0, at);
    volume.gain.linearRampToValueAtTime(kind === "refused" ? level / 2 : level, at + 0.008);
    volume.gain.setTargetAtTime(0, at + lasts, 0.015);
    tone.connect(volume).connect(audio.destination);
    tone.start(at);
    tone.stop(at + lasts + 0.1);
    at += lasts + next;
  }
}

function box(name, more = {}) {
  const made = Object.assign(document.createElement("div"), { className: name, ...more });
  document.body.append(made);
  return made;
}

const drawn = (kind) => `<svg class="mark" aria-hidden="true"><use href="#m-${SHAPES[kind]}"/></svg>`;

/* The shape, large at the edge, for a moment. */
function sign(kind) {
  signBox ??= box("hand-sign", { ariaHidden: "true" });
  signBox.innerHTML = drawn(kind);
  signBox.dataset.kind = kind;
  signBox.hidden = false;
  clearTimeout(clear);
  clear = setTimeout(() => (signBox.hidden = true), 1200);
}

/* Tone and shape; with words, they stay on the page until the next tap or scan. */
export function show(kind, words = "") {
  play(kind);
  sign(kind);
  if (!words) return;
  sayBox ??= box("hand-say", { role: "status" });
  sayBox.dataset.kind = kind;
  // Above the bar, however high it is: the tick stays in sight and in reach.
  sayBox.style.bottom = (document.querySelector(".bar")?.offsetHeight ?? 16) + 8 + "px";
  sayBox.hidden = false;
  sayBox.innerHTML = drawn(kind) + "<p></p>";
  sayBox.lastChild.textContent = (SPOKEN[kind] ? SPOKEN[kind] + " " : "") + words;
}

export function hush() {
  if (sayBox) sayBox.hidden = true;
}

export function listenForTones() {
  for (const kind of Object.keys(TONES)) document.addEventListener("countback:" + kind, (event) => {
    if (event.detail?.elsewhere) return; // Another tab made it, and says it itself.
    play(kind);
    sign(kind);
  });
  for (const event of ["pointerdown", "keydown"]) document.addEventListener(event, wake, { capture: true, passive: true });
}

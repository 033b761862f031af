/* The page where this tablet learns its keys, its pedals and its scanner. */
import { RISKY, inField, keep, learnt, mayLearn, nameOf, presses, shown, wedge } from "./keys.js";
import { readLabel } from "./label.js";
import { listenForTones, show } from "./tones.js";

const WORDS = { tick: "Tick", back: "Back", pause: "Pause" };
const say = document.getElementById("learn-say");
const test = document.getElementById("test-field");
let learning = "", asked = "", heard = [], quiet = 0;

const tell = (words) => (say.textContent = words);
const keyWords = (keys) => keys.map((key) => shown(key)).join(" ");

function draw() {
  const { keys, prefix } = learnt();
  for (const [what, words] of Object.entries(WORDS)) {
    const row = document.querySelector(`[data-press="${what}"]`);
    row.querySelector("[data-key]").textContent = keys[what] ? shown(keys[what]) : "none";
    row.querySelector("[data-forget]").hidden = !keys[what];
    row.querySelector("[data-learn]").textContent = learning === what ? "Cancel" : "Learn";
    row.querySelector("[data-learn]").setAttribute("aria-label", learning === what ? `Cancel learning ${words}` : `Learn a key for ${words}`);
  }
  document.getElementById("prefix").textContent = prefix.length ? keyWords(prefix) : "not set up";
  document.querySelector("[data-forget-scanner]").hidden = !prefix.length;
  document.querySelector("[data-learn-scanner]").textContent = learning === "scanner" ? "Cancel" : "Learn by a scan";
}

function begin(what) {
  learning = what;
  asked = "";
  heard = [];
  // Scans are for this page alone, whether it learns or tests.
  document.documentElement.dataset.learning = what || "test";
  document.activeElement?.blur?.();
  draw();
}

function store(settings, words) {
  begin("");
  tell(keep(settings) ? words : "This browser keeps nothing for this site, so it cannot be learnt. Allow site data, then try again.");
  draw();
}

function learnKey(event) {
  if (event.repeat || !mayLearn(event)) return;
  const name = nameOf(event), settings = learnt();
  const other = Object.keys(WORDS).find((what) => what !== learning && settings.keys[what] === name);
  if (other) return tell(`${shown(name)} is the key for ${WORDS[other]}. Press another one, or Escape.`);
  if (settings.prefix.includes(event.key)) return tell(`The scanner sends ${shown(name)} before a code. Press another one, or Escape.`);
  if (RISKY.includes(name) && asked !== name) {
    asked = name;
    return tell(`${shown(name)} presses whatever has the focus, and scanners end with Enter. Press another key if you can; press ${shown(name)} once more to use it all the same.`);
  }
  const what = learning;
  settings.keys[what] = name;
  return store(settings, `${WORDS[what]} is now ${shown(name)}. Try it in the test field.`);
}

/* A scan of one of our labels: what came before the code is what the scanner sends first. */
function learnScanner(event) {
  if (event.key === "Enter" || event.key === "Tab") return scannerHeard();
  if (event.key.length === 1 || !["Shift", "AltGraph"].includes(event.key)) heard.push(event.key);
  clearTimeout(quiet);
  quiet = setTimeout(scannerHeard, 400);
  return undefined;
}

function scannerHeard() {
  clearTimeout(quiet);
  const keys = heard;
  heard = [];
  if (!keys.length) return;
  for (let from = 0; from < keys.length; from += 1) {
    const code = keys.slice(from);
    if (code.some((key) => key.length !== 1) || readLabel(code.join("")).error) continue;
    const prefix = keys.slice(0, from);
    const settings = learnt();
    if (!prefix.length) return tell("The label was read well, but the scanner sends nothing before it, so a scan could not be told from typing. Set the scanner to send a key first, such as F8 or a tilde, then scan again.");
    if (prefix.length > 8) return tell("More than 8 keys came before the code. Scan again.");
    if (prefix.some((key) => ["Enter", " ", "Tab", "Escape"].includes(key))) return tell("The scanner sends Enter, Tab, Escape or a space first, which a page needs itself. Set it to send another key, then scan again.");
    if (/^[0-9A-Za-z]$/.test(prefix[0])) return tell("The scanner sends a letter or a digit first, which somebody may type. Set it to send another key, such as F8 or a tilde, then scan again.");
    return store({ ...settings, prefix }, `The scanner sends ${keyWords(prefix)} before a code. Try a scan in the test field.`);
  }
  return tell("That was not one of our labels, or it was misread. Scan a job's label, or press Escape.");
}

const pressed = presses();
const note = (words) => {
  const line = Object.assign(document.createElement("li"), { textContent: words });
  test.querySelector("ol").prepend(line);
  while (test.querySelector("ol").children.length > 6) test.querySelector("ol").lastChild.remove();
};
// Each in one piece: what makes the scripts smaller does not know a template inside a template.
function saysOf({ kind, job, pocket, location, part, lot }) {
  if (kind === "lot") return `${part}, lot ${lot}`;
  return kind === "tray" ? `${job}, pocket ${pocket}` : job || location;
}
const scan = wedge({
  code: (text) => {
    const label = readLabel(text);
    show(label.error ? "refused" : "confirmed");
    note(label.error || ["Scanner:", label.kind, saysOf(label)].join(" "));
  },
  bare: () => note("As fast as a scanner, but without what it should send first: ignored"),
});

document.addEventListener("keydown", (event) => {
  if (learning) {
    event.preventDefault();
    event.stopImmediatePropagation();
    if (event.key === "Escape") {
      begin("");
      tell("Nothing was changed.");
    } else if (learning === "scanner") learnScanner(event);
    else learnKey(event);
    return;
  }
  if (document.activeElement !== test || inField()) return;
  if (scan(event)) {
    event.preventDefault();
    event.stopImmediatePropagation();
    return;
  }
  const found = pressed(event);
  if (!found) return;
  event.preventDefault();
  if (found.ignored) note(found.ignored === "held" ? "Held down: ignored" : "Too soon after the last: ignored");
  else {
    show("kept");
    note(WORDS[found.what]);
  }
}, { capture: true });

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  const what = button?.closest("[data-press]")?.dataset.press;
  if (!button) return;
  if (button.matches("[data-learn]")) {
    const again = learning === what;
    begin(again ? "" : what);
    tell(again ? "Nothing was changed." : `Press the key or the pedal for ${WORDS[what]}. Escape cancels.`);
  } else if (button.matches("[data-forget]")) {
    const settings = learnt();
    delete settings.keys[what];
    store(settings, `${WORDS[what]} has no key now.`);
  } else if (button.matches("[data-learn-scanner]")) {
    const again = learning === "scanner";
    begin(again ? "" : "scanner");
    tell(again ? "Nothing was changed." : "Scan one of our labels. Escape cancels.");
  } else if (button.matches("[data-forget-scanner]")) {
    store({ ...learnt(), prefix: [] }, "The scanner is forgotten.");
  } else if (button.dataset.play) {
    show(button.dataset.play);
  }
});

document.documentElement.dataset.learning = "test";
listenForTones();
draw();

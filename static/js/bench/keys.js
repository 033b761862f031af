/* What was learnt on this tablet: the key or pedal for each press, and what the scanner sends before a code. */
const PLACE = "countback-hands";
export const PRESSES = ["tick", "back", "pause"];
export const DEBOUNCE_MS = 300;
const NEVER = ["Escape", "Tab", "Shift", "Control", "Alt", "AltGraph", "Meta", "CapsLock", "Unidentified", "Dead", "Process"];
/* These press what has the focus, and scanners end with them: never without being asked twice. */
export const RISKY = ["Enter", "NumpadEnter", "Space"];

export function learnt() {
  try {
    const kept = JSON.parse(localStorage.getItem(PLACE) || "{}");
    return { keys: kept.keys || {}, prefix: Array.isArray(kept.prefix) ? kept.prefix : [] };
  } catch {
    return { keys: {}, prefix: [] };
  }
}

/* False when the tablet keeps nothing. */
export function keep(settings) {
  try {
    localStorage.setItem(PLACE, JSON.stringify(settings));
    return true;
  } catch {
    return false;
  }
}

/* One name a key: its place on the keyboard, or what it says where a pedal has no place. */
export const nameOf = (event) => event.code || event.key;
export const shown = (name) => (name === " " ? "Space" : name.replace(/^(Key|Digit)(?=.$)/, ""));
export const mayLearn = (event) => !NEVER.includes(event.key) && !event.ctrlKey && !event.altKey && !event.metaKey;

const TYPED = "input:not([type=checkbox]):not([type=radio]):not([type=button]):not([type=submit]):not([type=file]):not([type=range]), textarea, select, [contenteditable=''], [contenteditable=true]";
/* Whether what is typed goes into a field. */
export const inField = (element = document.activeElement) => !!element?.closest?.(TYPED);

/* Tells which press a key is: {what}, {ignored: "held"|"soon"}, or null where it is none of ours. */
export function presses(settings = learnt) {
  let last = -Infinity;
  return (event) => {
    const { keys } = settings();
    const what = PRESSES.find((press) => keys[press] === nameOf(event));
    if (!what || event.ctrlKey || event.altKey || event.metaKey) return null;
    if (event.repeat) return { ignored: "held" };
    if (event.timeStamp - last < DEBOUNCE_MS) return { ignored: "soon" };
    last = event.timeStamp;
    return { what };
  };
}

/* A scanner that types. Returns a function of a keydown that says whether the key belonged to it. `code` is called
   with what was read between the prefix and Enter, Tab or a pause; `bare` when something typed as fast as a scanner,
   without the prefix, and its Enter was kept from pressing what has the focus. */
export function wedge({ code, bare, settings = learnt, gap = 200 }) {
  let matched = 0, reading = null, quiet = 0, last = -Infinity, run = 0;

  function end() {
    const text = reading;
    reading = null;
    matched = 0;
    run = 0;
    if (text) code(text);
  }

  return (event) => {
    const close = event.timeStamp - last < gap;
    if (!["Shift", "AltGraph"].includes(event.key)) last = event.timeStamp;
    if (reading !== null) {
      clearTimeout(quiet);
      if (event.key === "Enter" || event.key === "Tab") end();
      else {
        if (event.key.length === 1) reading += event.key;
        quiet = setTimeout(end, gap * 2);
      }
      return true;
    }
    const { prefix } = settings();
    if (event.key === "Shift" && !prefix.includes("Shift")) return false;
    if (prefix.length) {
      if (matched && !close) matched = 0;
      if (event.key !== prefix[matched]) matched = 0;
      if (event.key === prefix[matched]) {
        matched += 1;
        if (matched < prefix.length) return true;
        reading = "";
        quiet = setTimeout(end, gap * 5);
        return true;
      }
    }
    run = event.key.length === 1 ? (close ? run + 1 : 1) : run;
    if (close && run >= 4 && (event.key === "Enter" || event.key === " ")) {
      if (event.key === "Enter") {
        run = 0;
        bare?.();
      }
      return true;
    }
    if (event.key.length !== 1) run = 0;
    return false;
  };
}

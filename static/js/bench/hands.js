/* Work with the hands busy: the screen stays on, what happens is heard and seen, keys and pedals press, scans confirm. */
import { answerFirst } from "./scan.js";
import { inField, learnt, nameOf, presses } from "./keys.js";
import { hush, listenForTones, show } from "./tones.js";

const job = /\/jobs\/([^/]+)\/bench/.exec(location.pathname)?.[1];

/* The screen stays on while the page is looked at; the browser lets go of it whenever the page is hidden. */
let lock = null;
async function stayAwake() {
  if (document.visibilityState !== "visible" || !navigator.wakeLock || (lock && !lock.released)) return;
  try {
    lock = await navigator.wakeLock.request("screen");
  } catch {
    lock = null; // The tablet is low on power, or does not allow it: the screen goes off as it always did.
  }
  document.documentElement.dataset.awake = lock ? "yes" : "no";
}
document.addEventListener("visibilitychange", stayAwake);
stayAwake();

const CONTROLS = {
  tick: ".bar [data-tick], .bar .tick-form .tick",
  back: '.bar form[action$="/bench/undo"] button',
  pause: '.bar a[href$="/bench/pause"]',
};

/* A learnt key does what a tap on its control does, and no more. */
function press(what) {
  hush();
  if (document.querySelector("dialog[open]")) return;
  const asked = new CustomEvent("countback:press", { detail: { what }, cancelable: true });
  // Whoever answers the press prevents the tap.
  if (!document.dispatchEvent(asked)) return;
  const control = document.querySelector(CONTROLS[what]);
  if (!control || control.disabled) return show("caution", what === "back" ? "There is no tick to take back." : "That cannot be pressed now.");
  if (control.classList.contains("blocked")) return show("caution", control.textContent.trim().replace(/\s+/g, " "));
  control.click();
}

const pressed = presses();
document.addEventListener("keydown", (event) => {
  if (event.defaultPrevented || inField()) return;
  const found = pressed(event);
  if (!found) return;
  event.preventDefault();
  if (found.what) press(found.what);
});
// A space key presses a button as it comes up.
document.addEventListener("keyup", (event) => {
  if (!inField() && Object.values(learnt().keys).includes(nameOf(event))) event.preventDefault();
});
document.addEventListener("pointerdown", hush, { passive: true });

listenForTones();
// Fetched when it is asked for: the first load of the page is light.
document.addEventListener("click", async (event) => {
  if (event.target.closest("[data-steps]")) (await import("./steps.js")).openSteps();
});
if (job) answerFirst(async (label) => (await import("./fit.js")).atBench(decodeURIComponent(job), label));

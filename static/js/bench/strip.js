/* What the page says of itself: the connection, how many entries wait and since when, the state of the last tap. */
import { entries } from "./store.js";
import { lastState } from "./enter.js";
import { contactNow } from "./replay.js";

const CONTACT = {
  ok: ["dot", "Connected"],
  none: ["ring-absent", "No connection"],
  trouble: ["hold", "Server cannot answer"],
  portal: ["short", "Network asks for something"],
  signin: ["refused", "Sign in again"],
};
const LAST = {
  kept: ["ring-open", "Kept here"],
  confirmed: ["tick", "Confirmed"],
  attention: ["refused", "Needs attention"],
  question: ["refused", "A question"],
};

export const clockWords = (ms) => new Date(ms).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
export const count = (n, one, several) => n + " " + (n === 1 ? one : several);

let summary = { waiting: 0, since: null, attention: 0 };
export const summaryNow = () => summary;

/* Count what is on the tablet again, and show it. */
export async function summarise() {
  const all = await entries();
  const waiting = all.filter((entry) => entry.state === "waiting");
  summary = {
    waiting: waiting.length,
    since: waiting.length ? waiting[0].wall_ms : null,
    attention: all.filter((entry) => entry.state === "attention").length,
  };
  fill(document);
}

function put(element, icon, words) {
  const text = element.querySelector("span");
  if (text.textContent !== words) text.textContent = words;
  const use = element.querySelector("use");
  if (use && use.getAttribute("href") !== "#m-" + icon) use.setAttribute("href", "#m-" + icon);
}

function lastLine() {
  const last = lastState();
  let [icon, words] = (last && LAST[last.state]) || ["dot", "Nothing waits"];
  if (summary.attention && (!last || last.state === "confirmed")) [icon, words] = [LAST.attention[0], count(summary.attention, "needs attention", "need attention")];
  if (!last && summary.waiting) [icon, words] = LAST.kept;
  // A tap that is sent and answered within a moment shows its state alone: a number that flickers tells nobody anything.
  const linger = summary.waiting > 1 || (summary.waiting && contactNow().state !== "ok");
  return [icon, linger ? words + " · " + count(summary.waiting, "waits", "wait") + " since " + clockWords(summary.since) : words];
}

/* Write the state into the strips inside `root`: the page, or a frame that is about to be shown. */
export function fill(root) {
  const { state } = contactNow();
  for (const strip of root.querySelectorAll("[data-strip]")) {
    let [icon, words] = CONTACT[state];
    if (state === "signin" && summary.waiting) words = "Sign in again to send " + count(summary.waiting, "entry", "entries");
    if (state === "ok" && !globalThis.isSecureContext) words = "Connected, kept in this page only";
    put(strip.querySelector(".link-contact"), icon, words);
    const line = strip.querySelector(".link-outbox");
    if (line) put(line, ...lastLine());
    Object.assign(strip.dataset, { live: "", contact: state, waiting: summary.waiting, attention: summary.attention, last: lastState()?.state || "" });
  }
}

/* Keep the strips true from now on. */
export function watch() {
  for (const what of ["confirmed", "refused", "contact", "changed"]) {
    document.addEventListener("countback:" + what, () => summarise());
  }
  // The next step is painted before the tablet is read again: one more waits, that is known. Its own strip says so; the
  // one it replaces is not written once more for nothing.
  document.addEventListener("countback:kept", () => {
    summary = { ...summary, waiting: summary.waiting + 1, since: summary.since ?? Date.now() };
    requestAnimationFrame(() => setTimeout(() => fill(document)));
    setTimeout(summarise, 200);
  });
  return summarise();
}

/* Scans on any page: a scanner that types, or the camera. A job opens at the bench, a place or a lot opens its page.
   The bench page puts its own answer in the way (see fit.js). A scan fills nothing in and sends nothing by itself. */
import { inField, wedge } from "./keys.js";
import { show } from "./tones.js";

const answers = [];

/* Let a page answer a scan before it leads away: `answer(label)` comes to true when it did. */
export function answerFirst(answer) {
  answers.unshift(answer);
}

/* What reads a code is fetched with the first one, so that a page is not heavier for it. */
export async function scanned(text) {
  const { readSeen } = await import("./label.js");
  const label = readSeen(text);
  document.documentElement.dataset.lastScan = label.error ? "refused" : label.kind;
  if (label.error) return show("refused", label.error);
  for (const answer of answers) if (await answer(label)) return undefined;
  const bench = label.kind === "job" && /^\/jobs\/[^/]+\/bench/.test(location.pathname);
  location.assign(bench || !label.code ? `/jobs/${encodeURIComponent(label.job)}/bench` : "/scan?code=" + label.code);
  return undefined;
}

const bare = () =>
  show("caution", "That came as fast as a scanner, but without what it was taught to send first. Nothing was done. Set the scanner up under Keys and scanner.");
const typed = wedge({ code: scanned, bare });

document.addEventListener("keydown", (event) => {
  if (inField() || document.documentElement.dataset.learning) return;
  if (typed(event)) {
    event.preventDefault();
    event.stopImmediatePropagation();
  }
}, { capture: true });

document.addEventListener("click", async (event) => {
  if (!event.target.closest("[data-scan]") || event.ctrlKey || event.metaKey) return;
  event.preventDefault(); // Without scripts it is a link to the page where a code is typed.
  const { openCamera } = await import("./camera.js");
  openCamera(scanned);
});

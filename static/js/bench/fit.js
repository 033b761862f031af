/* A lot scanned at a refit step: shown as confirmed on its line, and sent with the tick, so that this very lot is fitted. */
import { show } from "./tones.js";

let step = "", found = new Map();

const form = () => document.getElementById("tick");
const stepOf = (tick) => `${tick.elements.side?.value}/${tick.elements.step?.value}`;
const lines = (part) => [...document.querySelectorAll(".release li[data-part]")].filter((line) => line.dataset.part === part);
const lotsOf = (line) => JSON.parse(line.dataset.lots || "[]");

/* What was scanned for the step in focus goes into its entry, as [{part, lot}] in order. */
function entering({ detail: entry }) {
  if (entry.kind !== "tick" || `${entry.side}/${entry.step}` !== step || !found.size) return;
  entry.data.scanned = [...found.values()].flat().map(({ part, lot }) => ({ part, lot }));
}

function confirm(label) {
  const tick = form();
  const here = lines(label.part);
  const refit = tick && tick.elements.side?.value === "up";
  if (!here.length) {
    const nothing = refit ? `${label.part} does not go in at this step.` : "Nothing new goes in now.";
    return show("caution", `${nothing} Nothing was ticked.`);
  }
  const lots = lotsOf(here[0]);
  if (!lots.includes(label.lot)) {
    const words = lots.length ? lots.join(", ") : "none";
    return show("refused", `Lot ${label.lot} of ${label.part} is not in this job's hands (in hand: ${words}). Take the piece that was handed out, or ask stores to hand this one out.`);
  }
  const pieces = here.reduce((sum, line) => sum + Number(line.dataset.new || 1), 0);
  const before = (found.get(label.part) || []).filter((other) => other.lot !== label.lot);
  // More lots than pieces: the last ones scanned are those that go in.
  const kept = [...before, label].slice(-pieces);
  found.set(label.part, kept);
  apply();
  const instead = before.length && !kept.includes(before[0]) ? `, instead of lot ${before[0].lot}` : "";
  return show("confirmed", `${label.part}, lot ${label.lot}: it goes in with the tick${instead}.`);
}

/* Put what was scanned on the page again: a swap, or the next frame, draws the lines anew. */
function apply() {
  const tick = form();
  if (!tick) return;
  if (stepOf(tick) !== step) {
    step = stepOf(tick);
    found = new Map();
  }
  const labels = [...found.values()].flat();
  const inputs = [...tick.querySelectorAll("input[name=scanned]")];
  if (inputs.map((input) => input.value).join() !== labels.map((label) => label.code).join()) {
    for (const input of inputs) input.remove();
    for (const { code, part, lot } of labels) {
      const input = Object.assign(document.createElement("input"), { type: "hidden", name: "scanned", value: code });
      Object.assign(input.dataset, { part, lot });
      tick.append(input);
    }
  }
  for (const [part, scans] of found) for (const line of lines(part)) mark(line, scans);
}

function mark(line, scans) {
  const words = `Scanned: lot ${scans.map((scan) => scan.lot).join(", ")}`;
  let note = line.querySelector(".scan-ok");
  if (note?.textContent === words) return;
  note ??= line.querySelector(".what").appendChild(Object.assign(document.createElement("small"), { className: "scan-ok" }));
  note.innerHTML = '<svg class="mark" aria-hidden="true"><use href="#m-tick"/></svg>';
  note.append(words);
  line.classList.add("scanned");
}

let watched = false;

function watch() {
  watched = true;
  document.addEventListener("countback:entering", entering);
  new MutationObserver(apply).observe(document.getElementById("main"), { childList: true, subtree: true });
  apply();
}

/* The answer of the bench page of `job` to a scan; false when the scan is for another page. */
export function atBench(job, label) {
  if (!watched) watch();
  if (label.kind === "lot") confirm(label);
  else if (label.kind === "shelf") show("caution", `This is place ${label.location}. A place does nothing at the bench.`);
  else if (label.job !== job && label.kind === "job") return false;
  else if (label.job !== job) show("caution", `This is pocket ${label.pocket} of job ${label.job}. It does not belong here.`);
  else if (label.kind === "tray") show("confirmed", `Pocket ${label.pocket} of this job.`);
  else show("confirmed", "This is the job on the page.");
  return true;
}

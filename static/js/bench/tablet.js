/* The page of what this tablet holds: entries that wait or need attention, jobs kept here, what is missing. */
import { available, entries, tell, write } from "./store.js";
import { contactNow, flush } from "./replay.js";
import { clockWords, count } from "./strip.js";
import { kept } from "./walk.js";
import "./pages.js";

const KINDS = { tick: "Tick", turn: "Start of the refit", undo: "Back", open: "Start of work", pause: "Pause", report: "Report", take_back: "Report taken back", recount: "Recount", place: "Place", photo: "Photo" };
const STATES = { waiting: ["ring-open", "Kept here"], attention: ["refused", "Needs attention"], aside: ["ring-struck", "Put aside"] };

const at = (selector) => document.querySelector(selector);
const fresh = (id) => document.getElementById(id).content.firstElementChild.cloneNode(true);

function words(entry) {
  const side = entry.side === "up" ? ", refit" : entry.side === "down" ? ", teardown" : "";
  const more = entry.data.rejects?.length ? ", failed inspection" : "";
  return (KINDS[entry.kind] || entry.kind) + (entry.step ? " " + (entry.title ? "“" + entry.title + "”" : entry.step) : "") + side + more;
}

function row(entry) {
  const line = fresh("t-entry");
  const [icon, state] = STATES[entry.state];
  line.dataset.state = entry.state;
  line.dataset.id = entry.id;
  line.querySelector("use").setAttribute("href", "#m-" + icon);
  line.querySelector(".entry-state").textContent = state;
  line.querySelector(".entry-what").textContent = words(entry);
  line.querySelector(".entry-job").textContent = entry.job;
  line.querySelector(".entry-who").textContent = (entry.name || "Unknown") + ", " + clockWords(entry.wall_ms);
  const reason = line.querySelector(".entry-reason");
  reason.textContent = entry.reason || "";
  reason.hidden = !entry.reason;
  line.querySelector("[data-do=aside]").hidden = entry.state !== "attention";
  line.querySelector("[data-do=again]").hidden = entry.state === "waiting";
  return line;
}

async function show() {
  const all = await entries();
  const jobs = await kept();
  at("#entries").replaceChildren(...all.map(row));
  at("#nothing").hidden = all.length > 0;
  at("#entries-table").hidden = all.length === 0;
  const waiting = all.filter((e) => e.state === "waiting");
  at("#waiting-words").textContent = waiting.length
    ? count(waiting.length, "entry waits", "entries wait") + " since " + clockWords(waiting[0].wall_ms) + ". They are sent in order as soon as the server answers."
    : "";
  at("#kept-jobs").replaceChildren(
    ...jobs.map((head) => {
      const line = fresh("t-job");
      const link = line.querySelector("a");
      link.href = "/jobs/" + head.number + "/bench";
      link.textContent = "Job " + head.number;
      return line;
    })
  );
  at("#no-jobs").hidden = jobs.length > 0;
  at("#sign-in").hidden = contactNow().state !== "signin";
}

/* Only a person's decision takes an entry out of the way; it stays on the tablet and can be sent after all. */
async function decide(id, state) {
  await write("outbox", async (t) => {
    const entry = await t.store.index("id").get(id);
    if (entry) await t.store.put({ ...entry, state, decided_ms: Date.now(), ...(state === "waiting" ? { reason: "" } : {}) });
  });
  tell("changed");
  await show();
  if (state === "waiting") flush();
}

async function begin() {
  at("#not-secure").hidden = globalThis.isSecureContext;
  at("#not-signed-out").hidden = location.hash !== "#sign-out";
  if (!(await available())) {
    at("#no-store").hidden = false;
    return;
  }
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-do]");
    if (!button) return;
    if (button.dataset.do === "send") flush();
    else decide(button.closest("[data-id]").dataset.id, button.dataset.do === "aside" ? "aside" : "waiting");
  });
  for (const what of ["kept", "confirmed", "refused", "contact", "changed"]) document.addEventListener("countback:" + what, show);
  await show();
  document.body.dataset.ready = "";
}

begin();

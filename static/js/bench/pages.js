/* Every page but the bench itself: sends what waits, keeps packs to their owner, takes over the forms beside the bench. */
import { available, entries, forgetPacks, signedIn } from "./store.js";
import { enter } from "./enter.js";
import { entryOf, photosOf } from "./forms.js";
import { settlePacks, worker } from "./packs.js";
import { flush, probe, signOut, start } from "./replay.js";
import { watch } from "./strip.js";

const wait = (ms) => new Promise((done) => setTimeout(done, ms));
const waits = async (id) => (await entries()).some((entry) => entry.id === id);

function tellOnPage(words, kind = "note done", role = "status") {
  document.getElementById("kept-note")?.remove();
  const box = document.createElement("div");
  box.id = "kept-note";
  box.className = kind;
  box.tabIndex = -1;
  box.setAttribute("role", role);
  const text = document.createElement("p");
  text.textContent = words;
  box.append(text);
  document.querySelector("#main .page-head")?.after(box);
  box.focus();
}

/* What the server answered to this page's entries, by their ids: a confirmation and a question come with words. */
const answers = new Map();
for (const what of ["confirmed", "refused"]) document.addEventListener("countback:" + what, ({ detail }) => answers.set(detail.id, detail));

/* Whether the server took the entry within a moment. */
async function settled(id) {
  await Promise.race([flush(), wait(2500)]);
  return !(await waits(id));
}

/* Say why an entry was not booked; what was typed stays on the page. */
function tellQuestion(id, job) {
  const answer = answers.get(id);
  if (answer?.outcome !== "question") return false;
  tellOnPage(answer.words + " It is kept as a question on the job. ", "refusal", "alert");
  const link = Object.assign(document.createElement("a"), { href: "/jobs/" + job + "/questions", textContent: "Settle it" });
  document.querySelector("#kept-note p").append(link);
  return true;
}

const AFTER = {
  async pause(form, entry) {
    const base = "/jobs/" + entry.job;
    location.assign((await settled(entry.id)) ? "/" : base + "/bench");
  },
  async report(form, entry) {
    const base = "/jobs/" + entry.job + "/trouble";
    if (await settled(entry.id)) return tellQuestion(entry.id, entry.job) || location.assign(base + "?step=" + encodeURIComponent(entry.step) + "&said=" + entry.id);
    form.reset();
    tellOnPage("Kept here. The report is sent as soon as the server answers; what it needs is reserved then.");
  },
  async take_back(form, entry) {
    if (await settled(entry.id)) return tellQuestion(entry.id, entry.job) || location.reload();
    form.querySelector("button").disabled = true;
    tellOnPage("Kept here. It is taken back as soon as the server answers.");
  },
  async recount(form, entry) {
    if (await settled(entry.id)) return tellQuestion(entry.id, entry.job) || location.assign("/jobs/" + entry.job + "/bench");
    tellOnPage("Kept here. The count is sent as soon as the server answers; wait for it before you go on.");
  },
};

/* A report without its item means nothing; the server says the same. */
function missing(form) {
  const item = form.querySelector("[name=item]");
  if (form.dataset.outbox !== "report" || !item) return false;
  item.setCustomValidity(new FormData(form).get("kind") !== "leftover" && !item.value ? "Choose the item." : "");
  return !form.reportValidity();
}

/* A recount that does not agree is told at once where the server answers, beside its pocket; the tablet keeps it where not. */
async function atOnce(form) {
  if (form.dataset.outbox !== "recount") return false;
  await Promise.race([flush(), wait(2500)]);
  if (!(await probe())) return false;
  form.submit();
  return true;
}

async function take(form, submitter) {
  const read = entryOf(form, submitter);
  try {
    if (await atOnce(form)) return;
    const entry = await enter(read);
    for (const photo of photosOf(form)) {
      await enter({ kind: "photo", job: entry.job, photo, data: { step: entry.step, inspection: "", of: entry.id, caption: (entry.data.note || "").slice(0, 120) } });
    }
    await AFTER[form.dataset.outbox](form, entry);
  } catch (error) {
    tellOnPage(error.message, "refusal", "alert");
  }
}

/* The kept page of a job's trouble was made for no step in particular: put the step in hand first. */
function forStep() {
  const step = new URLSearchParams(location.search).get("step");
  const field = document.querySelector("form[data-outbox=report] [name=step]");
  if (!step || !field || field.value === step) return;
  field.value = step;
  for (const group of document.querySelectorAll("#f-item optgroup")) {
    if (group.querySelector("option")?.value.startsWith(step + "/")) group.parentElement.insertBefore(group, group.parentElement.children[1] || null);
  }
}

let busy = false;

async function begin() {
  document.addEventListener("submit", (event) => {
    if (event.target.matches('[action="/sign-out"]')) {
      event.preventDefault();
      signOut(event.target);
    }
  });
  if (!(await available())) return;
  const { right } = signedIn();
  const waiting = (await entries()).some((entry) => entry.state === "waiting");
  if (right) {
    await settlePacks();
    worker();
  } else if (location.pathname === "/sign-in") {
    await forgetPacks();
  }
  const forms = document.querySelectorAll("form[data-outbox]");
  if (forms.length) {
    forStep();
    document.addEventListener("submit", async (event) => {
      if (!event.target.dataset.outbox) return;
      event.preventDefault();
      if (busy || missing(event.target)) return;
      busy = true;
      await take(event.target, event.submitter);
      busy = false;
    });
    document.body.dataset.outbox = "on";
  }
  if (forms.length || waiting || document.querySelector("[data-strip]")) {
    await watch();
    start();
  }
}

begin();

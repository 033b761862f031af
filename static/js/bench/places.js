/* Places on the drawing. A tap on one is an entry of its own; its mark changes on the drawing and in the list at once.
   Without the outbox the form goes to the server as it is. */
import { enter, jobOfPage } from "./enter.js";
import { read, waitingOf } from "./store.js";

const AGAIN_MS = 300; // A glove that bounces is one tap.
const tapped = new Map();

const all = (id) => document.querySelectorAll(`[data-place="${CSS.escape(id)}"]`);

/* Give a place the mark it bears when counted on this side, or when not: on the drawing and in the list alike. */
function bear(form, on) {
  const { onMark, offMark, onWords, offWords } = form.dataset;
  const [mark, words] = on ? [onMark, onWords] : [offMark, offWords];
  form.elements.on.value = on ? "false" : "true";
  for (const shown of all(form.id)) {
    for (const name of [...shown.classList]) if (/^place-(open|out|back|struck|absent)$/.test(name)) shown.classList.remove(name);
    shown.classList.add("place-" + mark);
    shown.querySelector("use")?.setAttribute("href", "#m-ring-" + mark);
    (shown.matches("button") ? shown : shown.querySelector("button"))?.setAttribute("aria-label", words);
  }
}

const entryOf = (form) => {
  const given = new FormData(form);
  const [item, on] = [given.get("item"), given.get("on") === "true"];
  return {
    kind: "place", side: given.get("side"), step: item.split("/")[0], job: /\/jobs\/([^/]+)\//.exec(form.action)?.[1],
    data: { item, place: Number(given.get("place")), on },
    words: on ? form.dataset.onWords : form.dataset.offWords,
  };
};

async function tap(form) {
  const entry = entryOf(form);
  bear(form, entry.data.on);
  try {
    await enter(entry);
  } catch {
    bear(form, !entry.data.on); // Why it was not kept is said above the bar.
  }
}

function submitted(event) {
  const form = event.target;
  if (!form.matches?.(".place-form")) return;
  const now = performance.now();
  const bounced = now - (tapped.get(form.id) ?? -AGAIN_MS) < AGAIN_MS;
  tapped.set(form.id, now);
  const kept = document.body.dataset.outbox === "on";
  if (!kept && !bounced) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  if (!bounced) tap(form);
}

/* A frame was put on the page: what was tapped since it was made and still waits here belongs on it. */
async function painted() {
  if (!document.querySelector(".place-form")) return;
  const number = jobOfPage();
  const waiting = await read("outbox", (t) => waitingOf(t.store, number)).catch(() => []);
  for (const { kind, side, data } of waiting) {
    if (kind !== "place") continue;
    for (const form of document.querySelectorAll(".place-form")) {
      const given = new FormData(form);
      if (given.get("item") === data.item && Number(given.get("place")) === data.place && given.get("side") === side) bear(form, data.on);
    }
  }
}

/* The plan on the tablet was made before these taps: once all are confirmed, have it made again. */
let later = 0;
let mine = false;
function confirmed() {
  clearTimeout(later);
  if (mine) later = setTimeout(() => { mine = false; document.dispatchEvent(new CustomEvent("countback:changed")); }, 1500);
}

document.addEventListener("submit", submitted, { capture: true });
document.addEventListener("countback:painted", painted);
document.addEventListener("countback:confirmed", confirmed);
document.addEventListener("countback:kept", () => { mine ||= tapped.size > 0; });
painted();

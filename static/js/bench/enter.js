/* One tap, one entry: written to the tablet first, shown as kept only then, sent afterwards. */
import { available, signedIn, tell, times, uuid7, waitingOf, write } from "./store.js";
import { baseOf, doubled } from "./walk.js";

export const LARGEST_PHOTO = 15 * 1024 * 1024;

/* The tap was made on a page that is behind: the same step was tapped already. Nothing is lost, nothing is added. */
export class Behind extends Error {}
/* The tablet could not keep it: nothing was stored, the tap can be made again. */
export class NotKept extends Error {}

export const jobOfPage = () => /\/jobs\/([^/]+)/.exec(location.pathname)?.[1] || "";

/* Keep an entry {kind, side, step, data, job?, words?, photo?, free?} and return it with its id, and with what its
   transaction saw of the walk. Resolves once it is on the disk. Rejects with Behind or NotKept, and then nothing was stored. */
export async function enter(given) {
  const { right, person, name } = signedIn();
  const job = given.job ?? jobOfPage();
  const made = { id: uuid7(), job, kind: given.kind, side: given.side || "", step: given.step || "", data: given.data || {}, ...times() };
  if (given.photo && given.photo.size > LARGEST_PHOTO) throw refuse(made, new NotKept("The photo is larger than 15 MB. Take a smaller one."));
  let view = null;
  try {
    await write(["outbox", "photos", "walks", "meta"], async (t) => {
      const [outbox, meta] = [t.objectStore("outbox"), t.objectStore("meta")];
      // What is asked for together comes in one round from the disk's process, and a tap waits for each round.
      const [head, waiting, known] = await Promise.all([t.objectStore("walks").get(job), waitingOf(outbox, job), meta.get("device")]);
      if (doubled(head, waiting, { ...made, free: given.free })) throw new Behind("This was tapped already. The page shows how it stands.");
      const device = { id: known?.id || uuid7(), seq: (known?.seq || 0) + 1 };
      Object.assign(made, { device: device.id, seq: device.seq, base: given.base ?? baseOf(head, waiting) });
      // What the page of this tablet calls the step by; it is not sent.
      const title = made.step ? document.getElementById("step-title")?.textContent.trim() || "" : "";
      const kept = { ...made, right, person, name, title, words: given.words || "", state: "waiting", photo: !!given.photo };
      const photo = given.photo && { id: made.id, blob: given.photo, name: given.photo.name || "photo.jpg" };
      [made.n] = await Promise.all([outbox.add(kept), meta.put(device, "device"), photo && t.objectStore("photos").put(photo)]);
      view = { head, waiting: [...waiting, kept] };
    });
  } catch (error) {
    throw refuse(made, error instanceof Behind ? error : new NotKept(await why(error)));
  }
  await setLast({ id: made.id, job, state: "kept", words: given.words || "" });
  tell("kept", { id: made.id, job, words: given.words || "" });
  return { ...made, view };
}

function refuse(made, error) {
  document.dispatchEvent(new CustomEvent("countback:refused", { detail: { id: made.id, words: error.message } }));
  return error;
}

async function why(error) {
  if (error?.name === "QuotaExceededError" || /quota|disk|space|full/i.test(String(error?.message))) {
    return "Not kept: this tablet's storage is full. Free some space on it, or get contact so that what waits is sent; then tap again.";
  }
  return (await available())
    ? "Not kept: the tablet could not write it down. Nothing was stored; tap again."
    : "Not kept: this browser keeps nothing for this page. Reload to use the plain forms.";
}

/* The state of the last tap, for the strip of this page; it never comes before its entry. */
let last = null;
export const lastState = () => last;
export async function setLast(state) {
  last = state;
}

globalThis.countback = Object.assign(globalThis.countback || {}, { enter, jobOfPage });

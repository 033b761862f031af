/* What is kept of open jobs besides their walks: the pages that are worked without a network, and whose they are. */
import { forgetPacks, meta, setMeta, signedIn } from "./store.js";

/* Packs belong to the person who is signed in; another person's go. Entries that wait are not packs. */
export async function settlePacks() {
  const { right, person } = signedIn();
  if (!right) return;
  const owner = await meta("person");
  if (owner !== undefined && owner !== person) await forgetPacks();
  if (owner !== person) await setMeta("person", person);
}

export async function worker() {
  if (!globalThis.isSecureContext || !navigator.serviceWorker) return null;
  try {
    await navigator.serviceWorker.register("/sw.js", { scope: "/" });
    return await navigator.serviceWorker.ready;
  } catch {
    return null;
  }
}

/* Have the pages of a job kept that its work needs. */
export async function keepPages(number) {
  const ready = await worker();
  // Asks the browser not to clear what waits when the tablet runs short of space.
  navigator.storage?.persist?.().catch(() => false);
  const base = "/jobs/" + number;
  ready?.active?.postMessage({ keep: [base + "/bench", base + "/bench/pause", base + "/trouble"] });
}

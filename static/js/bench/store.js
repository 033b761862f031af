/* What the tablet holds: entries that wait (with their photos), the walks of open jobs, and what it knows of itself.
   Every write that a person relies on is strict: the promise settles after the device says it is on the disk. */
import "../../vendor/idb.js";

const NAME = "countback";
let opening = null;

function open() {
  opening ??= globalThis.idb
    .openDB(NAME, 1, {
      upgrade(db) {
        const outbox = db.createObjectStore("outbox", { keyPath: "n", autoIncrement: true });
        outbox.createIndex("id", "id", { unique: true });
        outbox.createIndex("job", "job");
        db.createObjectStore("photos", { keyPath: "id" });
        db.createObjectStore("walks", { keyPath: "number" });
        db.createObjectStore("frames", { keyPath: "number" });
        db.createObjectStore("meta");
      },
      blocking(_from, _to, event) {
        event.target.close();
        opening = null;
      },
      terminated() {
        opening = null;
      },
    })
    .catch((error) => {
      opening = null;
      throw error;
    });
  return opening;
}

/* Whether this browser lets us keep anything at all. */
export async function available() {
  try {
    await open();
    return true;
  } catch {
    return false;
  }
}

export async function read(stores, work) {
  const transaction = (await open()).transaction(stores, "readonly");
  const found = await work(transaction);
  await transaction.done;
  return found;
}

/* Run `work` in one transaction; nothing of it stays when it throws. */
export async function write(stores, work, durability = "strict") {
  const transaction = (await open()).transaction(stores, "readwrite", { durability });
  const ended = transaction.done.then(() => null, (error) => error ?? new Error("aborted"));
  let found;
  try {
    found = await work(transaction);
  } catch (error) {
    try {
      transaction.abort();
    } catch {
      // It is over already.
    }
    await ended;
    throw error;
  }
  const failed = await ended;
  if (failed) throw failed;
  return found;
}

export const meta = (key) => read("meta", (t) => t.store.get(key));
export const setMeta = (key, value) => write("meta", (t) => t.store.put(value, key), "relaxed");

/* All entries, oldest first. */
export const entries = () => read("outbox", (t) => t.store.getAll());

/* What stands between the last walk and now: entries of a job that are to be sent. */
export const waitingOf = async (source, job) =>
  (await source.index("job").getAll(job)).filter((entry) => entry.state === "waiting");

/* Walks, pages and names go; entries that wait, and their photos, stay until they are sent. */
export async function forgetPacks() {
  try {
    await write(["walks", "frames", "meta"], async (t) => {
      await t.objectStore("walks").clear();
      await t.objectStore("frames").clear();
      await t.objectStore("meta").delete("person");
    });
  } catch {
    // Nothing is kept here.
  }
  if (!globalThis.caches) return;
  for (const name of await caches.keys()) {
    if (name.startsWith("countback-pages")) await caches.delete(name);
  }
}

/* UUIDv7 (RFC 9562): 48 bits of milliseconds, then chance. Works without a secure context. */
export function uuid7() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  let ms = Date.now();
  for (let n = 5; n >= 0; n -= 1) {
    bytes[n] = ms % 256;
    ms = Math.floor(ms / 256);
  }
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/* This page life: monotonic times compare inside it only. */
export const LIFE = uuid7();
export const times = () => ({ wall_ms: Date.now(), mono_ms: Math.round(performance.now()), life: LIFE });

/* Who is signed in on this page, as the server wrote it into the page's head. */
export function signedIn() {
  const tag = document.querySelector("meta[name=countback-tap]");
  return tag
    ? { right: tag.content, person: Number(tag.dataset.person), name: tag.dataset.name }
    : { right: "", person: 0, name: "" };
}

const channel = globalThis.BroadcastChannel ? new BroadcastChannel("countback") : null;

/* Tell this page and the other tabs. */
export function tell(what, detail = {}) {
  document.dispatchEvent(new CustomEvent("countback:" + what, { detail }));
  channel?.postMessage({ what, detail });
}

export function listen(heard) {
  channel?.addEventListener("message", (event) => heard(event.data.what, event.data.detail));
}

/* Sends what waits, in order, one tab at a time. An entry goes only when an answer names its id. */
import { entries, forgetPacks, listen, read, signedIn, tell, times, write } from "./store.js";
import { setLast } from "./enter.js";
import { advance } from "./walk.js";

const ANSWER_MS = 20000;
const CONTENT = ["id", "device", "seq", "job", "kind", "side", "step", "base", "wall_ms", "mono_ms", "life", "data"];

/* ok · none (no network) · trouble (the server cannot just now) · portal (the network answers in its place) · signin */
let contact = navigator.onLine ? "ok" : "none";
let serverWords = "";
export const contactNow = () => ({ state: contact, words: serverWords });

export function setContact(state, words = "") {
  if (state === contact && words === serverWords) return;
  contact = state;
  serverWords = words;
  document.dispatchEvent(new CustomEvent("countback:contact", { detail: { state } }));
}

/* Ask the server; the answer as {state, status, body}. Redirects are not followed: a sign-in page is no answer. */
export async function ask(url, options = {}, wants = "json") {
  let response;
  try {
    response = await fetch(url, { redirect: "manual", credentials: "same-origin", cache: "no-store", signal: AbortSignal.timeout(ANSWER_MS), ...options });
  } catch {
    return { state: "none" };
  }
  const type = response.headers.get("content-type") || "";
  const isJson = type.includes("json");
  let body = null;
  try {
    body = isJson ? await response.json() : await response.text();
  } catch {
    return { state: "none" };
  }
  const { status } = response;
  if (status === 401 || status === 403) return { state: "signin", status, body };
  if (status >= 500 || status === 429 || status === 408) return { state: "trouble", status, body };
  if (response.type === "opaqueredirect" || (wants === "json" && !isJson)) return { state: "portal", status, body };
  return { state: "ok", status, body };
}

async function send(entry, waiting) {
  const content = Object.fromEntries(CONTENT.map((key) => [key, entry[key]]));
  const since = waiting.length ? waiting[0].wall_ms : null;
  const body = JSON.stringify({ ...content, sent: times(), waiting: waiting.length, waiting_since_ms: since });
  const headers = { Accept: "application/json", "X-Countback-Tap": entry.right };
  if (!entry.photo) return ask("/bench/outbox", { method: "POST", body, headers: { ...headers, "Content-Type": "application/json" } });
  const photo = await read("photos", (t) => t.store.get(entry.id));
  if (!photo) return { state: "ok", status: 422, body: { detail: "The photo is no longer on this tablet." } };
  const form = new FormData();
  form.append("entry", body);
  form.append("photo", photo.blob, photo.name);
  return ask("/bench/outbox/photo", { method: "POST", body: form, headers });
}

const rejected = (entry) => !!entry.data.rejects?.length;

/* Take the entry off the tablet and move the walk on, in one transaction. */
async function confirm(entry, answer) {
  let head = null;
  await write(["outbox", "photos", "walks"], async (t) => {
    await t.objectStore("outbox").delete(entry.n);
    await t.objectStore("photos").delete(entry.id);
    head = await t.objectStore("walks").get(entry.job);
    if (!head) return;
    head = advance(head, entry, answer);
    await t.objectStore("walks").put(head);
  }, "relaxed");
  const asked = answer.outcome === "question";
  const words = answer.words || "";
  await setLast({ id: entry.id, job: entry.job, state: asked ? "question" : "confirmed", words });
  tell(asked ? "refused" : "confirmed", { id: entry.id, job: entry.job, kind: rejected(entry) ? "reject" : entry.kind, outcome: answer.outcome, words, version: answer.version, stale: head?.stale ?? true });
}

async function attention(entry, result) {
  const words = result.body?.detail || result.body?.title || "The server did not take it.";
  await write("outbox", async (t) => {
    const now = await t.store.get(entry.n);
    if (now) await t.store.put({ ...now, state: "attention", answered: result.status, reason: words });
  });
  await write("walks", async (t) => {
    const head = await t.store.get(entry.job);
    if (head) await t.store.put({ ...head, stale: true });
  }, "relaxed");
  await setLast({ id: entry.id, job: entry.job, state: "attention", words });
  tell("refused", { id: entry.id, job: entry.job, kind: entry.kind, words, stale: true });
}

/* Another sign-in of the same person may vouch for what an older one of theirs tapped; nobody else's may. */
async function resend(entry, waiting) {
  const now = signedIn();
  if (!now.right || now.right === entry.right || now.person !== entry.person) return null;
  return send({ ...entry, right: now.right }, waiting);
}

let retryMs = 0;
let timer = 0;

async function run() {
  const closed = new Set();
  const tried = new Set();
  for (;;) {
    const waiting = (await entries()).filter((entry) => entry.state === "waiting");
    const entry = waiting.find((e) => !closed.has(e.right) && !tried.has(e.id));
    if (!entry) return closed.size ? "signin" : "ok";
    let result = await send(entry, waiting);
    if (result.state === "signin") result = (await resend(entry, waiting)) || result;
    if (result.state === "ok" && result.status < 300 && result.body?.id === entry.id) {
      await confirm(entry, result.body);
      retryMs = 0;
      setContact("ok");
    } else if (result.state === "ok" && result.status >= 400) {
      await attention(entry, result);
      tried.add(entry.id);
      setContact("ok");
    } else if (result.state === "signin") {
      closed.add(entry.right);
    } else {
      // A 2xx that does not name the entry comes from somebody else.
      const state = result.state === "ok" ? "portal" : result.state;
      setContact(state, result.body?.detail || "");
      return state;
    }
  }
}

/* One replay across all tabs. Without the lock (plain http) each tab sends for itself: the server knows each id. */
const locked = (work) => (navigator.locks ? navigator.locks.request("countback-outbox", work) : work());

/* Run `work` while nothing is being sent, so that what it reads from the server is not behind what it reads here. */
export const quietly = locked;

let running = null;
let again = false;

export function flush() {
  again = true;
  running ??= (async () => {
    try {
      while (again) {
        again = false;
        const state = await locked(run);
        if (state === "signin") setContact("signin");
        if (state !== "ok") return later();
      }
      clearTimeout(timer);
      retryMs = 0;
    } catch (error) {
      console.error(error);
      later();
    } finally {
      running = null;
    }
  })();
  return running;
}

/* Try again after 2, 4, 8 … 60 seconds, 30 % to either side, so that a room of tablets does not knock at once. */
function later() {
  retryMs = Math.min(60000, Math.max(2000, retryMs * 2));
  clearTimeout(timer);
  timer = setTimeout(flush, retryMs * (0.7 + 0.6 * Math.random()));
}

/* See whether the server answers; the browser's own word is not enough. */
export async function probe() {
  const found = await ask("/healthz");
  const ours = found.state === "ok" && found.body?.status === "ok";
  if (!ours) setContact(found.state === "ok" ? "portal" : found.state);
  else if (contact !== "signin") setContact("ok");
  return ours;
}

async function flushOrProbe() {
  const waits = (await entries()).some((entry) => entry.state === "waiting");
  if (waits) await flush();
  else await probe();
}

export function start() {
  addEventListener("online", () => {
    retryMs = 0;
    flushOrProbe();
  });
  addEventListener("offline", () => setContact("none"));
  addEventListener("pageshow", (event) => event.persisted && flushOrProbe());
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && flushOrProbe());
  // The next step is painted first.
  let due = 0;
  document.addEventListener("countback:kept", () => {
    clearTimeout(due);
    due = setTimeout(flush, 250);
  });
  document.addEventListener("countback:painted", () => {
    if (!due) return;
    clearTimeout(due);
    due = 0;
    requestAnimationFrame(() => setTimeout(flush));
    if (document.visibilityState !== "visible") flush();
  });
  listen((what, detail) => {
    if (["kept", "confirmed", "refused"].includes(what)) {
      const state = what === "refused" ? (detail.outcome === "question" ? "question" : "attention") : what;
      setLast({ ...detail, state });
      document.dispatchEvent(new CustomEvent("countback:" + what, { detail: { ...detail, elsewhere: true } }));
    }
    if (what === "signed-out") location.assign("/sign-in");
  });
  setInterval(() => document.visibilityState === "visible" && !running && flushOrProbe(), 20000 + Math.random() * 10000);
  flushOrProbe();
}

/* Sign-out takes the packs off the tablet before it goes to the server; what waits stays. Ending the sign-in itself
   needs the server: without it the page of what this tablet holds says so. */
export async function signOut(form) {
  const patience = new Promise((done) => setTimeout(done, 1500));
  await Promise.race([forgetPacks(), patience]);
  if (!(await probe())) return location.assign("/on-this-tablet#sign-out");
  tell("signed-out");
  form.submit();
}

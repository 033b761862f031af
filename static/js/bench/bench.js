/* The bench page: a tap becomes an entry, then the next frame is shown, then it is sent. Nothing here waits for the network. */
import { available, entries } from "./store.js";
import { Behind, enter, jobOfPage } from "./enter.js";
import { entryOf } from "./forms.js";
import { fragmentOf, paintFrame, paintLook, prepare, readyAt, say, swap } from "./paint.js";
import { ask, contactNow, flush, probe, quietly, setContact, start } from "./replay.js";
import { watch } from "./strip.js";
import { frames, isTick, keepWalk, look } from "./walk.js";
import { keepPages, settlePacks } from "./packs.js";

const number = jobOfPage();
const base = "/jobs/" + number;
let pictures = null;
let shown = { sig: "", look: null, free: false };
let cure = 0;
let bells = [];

/* ---- Showing ---- */

/* A glove bounces, and nobody reads a step in less: what came up under the finger takes no tap for a moment. The keys of a
   pedal are not held up. */
const SETTLES_MS = 400;
let settling = 0;

function settle() {
  const page = document.getElementById("main");
  page.dataset.fresh = "";
  clearTimeout(settling);
  settling = setTimeout(() => delete page.dataset.fresh, SETTLES_MS);
}

/* A button that is exchanged under a finger loses the tap: what is to be shown waits until the finger is up. */
let finger = null;

function fingers() {
  addEventListener("pointerdown", () => {
    let lift;
    finger = { up: new Promise((done) => { lift = done; }) };
    const up = () => setTimeout(() => { finger = null; lift(); }, 60);
    for (const end of ["pointerup", "pointercancel"]) addEventListener(end, up, { once: true });
    setTimeout(up, 1500);
  }, true);
}

const released = () => (finger && !busy ? finger.up : null);

/* `adopt` takes the page that the server has just sent for the frame it is, and changes nothing on it. */
async function show({ force = false, adopt = false, seen = null } = {}) {
  if (!adopt) await released();
  const { head, waiting, at } = await look(number, seen);
  if (!head) return null;
  if (pictures?.made !== head.made) pictures = await frames(number);
  if (!pictures) return null;
  const sig = JSON.stringify([head.made, at.i, at.paused, at.open, at.also]);
  if (sig === shown.sig && !force) return at;
  shown = { sig, look: null, free: false };
  if (location.search) history.replaceState(null, "", base + "/bench");
  clearTimeout(cure);
  const asSent = adopt && !waiting.length && head.version === pageVersion();
  const ready = asSent ? readyAt(head, at) : paintFrame(pictures, head, at);
  if (ready) cure = setTimeout(cured, Math.min(ready - Date.now() + 50, 2 ** 31 - 1));
  ring(at.timers);
  document.body.dataset.at = head.steps[at.i]?.key || "";
  document.body.dataset.waiting = waiting.length;
  // Called out once it is seen.
  requestAnimationFrame(() => setTimeout(caution));
  (globalThis.requestIdleCallback || setTimeout)(() => prepare(pictures.html[at.i + 1]));
  return at;
}

const pageVersion = () => Number(document.querySelector(".strip")?.dataset.version || 0);

/* What is pressed or cures tells the ear as well when it is ready. */
function ring(timers) {
  bells.forEach(clearTimeout);
  const ready = (words) => document.dispatchEvent(new CustomEvent("countback:ready", { detail: { id: "", words } }));
  bells = timers.filter(({ until_ms }) => until_ms > Date.now()).map(({ until_ms, words }) => setTimeout(ready, Math.min(until_ms - Date.now(), 2 ** 31 - 1), words));
}

/* A cure has ended: the server's page says so in full, the tablet's does without it. */
async function cured() {
  if (contactNow().state === "ok") await truth();
  else await show({ force: true });
}

let cautioned = "";

/* A hazard is called out once, when its step comes up. */
function caution() {
  const hazard = document.querySelector(".step .hazard");
  const before = cautioned;
  cautioned = document.body.dataset.at;
  if (hazard && before !== cautioned) document.dispatchEvent(new CustomEvent("countback:caution", { detail: { id: "", words: hazard.getAttribute("aria-label") || "" } }));
}

/* The server's own page, where there is no walk to show it from. */
async function showServers(query = "") {
  const found = await ask(base + "/bench" + query, { headers: { "HX-Request-Type": "partial" } }, "html");
  if (found.state !== "ok" || found.status !== 200 || !String(found.body).includes("data-mode")) return false;
  await released();
  swap(fragmentOf(found.body));
  shown = { sig: "", look: query || null, free: !!query };
  return true;
}

/* ---- The walk ---- */

let fetching = null;

/* Fetch the walk while nothing is being sent, so that it and the outbox tell one story. */
function renew() {
  fetching ??= quietly(async () => {
    const found = await ask(base + "/bench/walk", { headers: { Accept: "application/json" } });
    if (found.state === "ok" && found.status === 200 && found.body?.number === number) {
      await keepWalk(found.body);
      setContact("ok");
      return true;
    }
    if (found.state !== "ok") setContact(found.state);
    return false;
  })
    .catch(() => false)
    .finally(() => {
      fetching = null;
    });
  return fetching;
}

/* Bring the page to what the server says. */
async function truth() {
  const waits = (await entries()).some((e) => e.job === number && e.state === "waiting");
  if (!(await renew()) && !waits && (await showServers())) return;
  await show({ force: true });
}

/* ---- Tapping ---- */

let busy = false;

async function tap(form, submitter) {
  if (busy) return;
  const entry = entryOf(form, submitter);
  if (!entry) return;
  busy = true;
  document.body.dataset.tap = "keeping";
  try {
    const { view } = await enter({ ...entry, free: shown.free });
    document.body.dataset.tap = "kept";
    if (isTick(entry.kind) || entry.kind === "undo") settle();
    const at = await show({ force: shown.look !== null || isTick(entry.kind), seen: view });
    if (!at) noWalk(form);
  } catch (error) {
    document.body.dataset.tap = error instanceof Behind ? "behind" : "failed";
    if (error instanceof Behind) await show({ force: true });
    if (!(error instanceof Behind) && !(await available())) fallBack();
  } finally {
    busy = false;
  }
}

/* Kept, but the plan is not on the tablet: the next step comes with the answer. */
function noWalk(form) {
  for (const button of form.querySelectorAll("button")) button.disabled = true;
  if (contactNow().state !== "ok") say("Kept here. The plan of this job is not on this tablet yet; the next step comes with the connection.", "waits");
}

function fallBack() {
  document.removeEventListener("submit", submitted);
  document.body.dataset.outbox = "off";
  say("This browser keeps nothing for this page. Every tap goes straight to the server and needs the connection.", "waits");
}

async function submitted(event) {
  const form = event.target;
  if (!form.closest("#main") || form.method !== "post") return;
  event.preventDefault();
  if (form.dataset.outbox) tap(form, event.submitter);
  else if (await probe()) form.submit();
  else say(needsServer(event.submitter || form), "waits");
}

/* ---- Links ---- */

const WORKS_ALONE = /\/bench\/pause$|\/trouble$|^\/on-this-tablet$/;

async function followed(event) {
  const link = event.target.closest("#main a[href]");
  if (!link || event.defaultPrevented || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const url = new URL(link.href);
  if (url.origin !== location.origin || WORKS_ALONE.test(url.pathname)) return;
  event.preventDefault();
  if (url.pathname === base + "/bench") return lookAt(url.searchParams.get("step"));
  const { state } = contactNow();
  if (state === "none" || state === "portal" || state === "trouble") return say(needsServer(link), "waits");
  await Promise.race([flush(), new Promise((done) => setTimeout(done, 4000))]);
  if (contactNow().state === "none") return say(needsServer(link), "waits");
  location.assign(url.href);
}

function needsServer(link) {
  const what = (link.querySelector("span")?.firstChild?.textContent || link.textContent).trim();
  return "“" + what + "” needs the server, and there is no answer from it now. What you tapped is kept here and is sent first; then tap again.";
}

async function lookAt(step) {
  if (!step) {
    await show({ force: true });
    if (contactNow().state === "ok") await truth();
    return;
  }
  const { head, waiting, at } = await look(number);
  if (contactNow().state === "ok" && !waiting.length && (await showServers("?step=" + encodeURIComponent(step)))) return;
  if (!head || !pictures) return say("This step is not on the tablet yet; it comes with the connection.", "waits");
  const sides = at.i >= head.steps.findIndex((s) => s.key === "turn") ? ["up:", "down:"] : ["down:", "up:"];
  const index = sides.map((side) => head.looks[side + step]).find((n) => n !== undefined);
  if (index === undefined) return say("This step is not on the tablet yet; it comes with the connection.", "waits");
  paintLook(pictures, head, at, index);
  shown = { sig: "", look: step, free: false };
}

/* ---- From other hands: pedals, keys, tabs ---- */

function pressed(event) {
  event.preventDefault();
  const what = event.detail?.what;
  const found = { tick: ".bar .tick", back: ".bar form[data-outbox=undo] button", pause: '.bar a[href$="/bench/pause"]' }[what];
  const control = found && document.querySelector(found);
  // What cannot be pressed is left to whoever asked: it says so.
  if (!control || control.disabled || control.classList.contains("blocked")) return;
  event.preventDefault();
  control.click();
}

const PLAIN = new Set(["tick", "turn", "undo", "open", "pause", "place", "photo"]);

async function confirmed(event) {
  const { job, kind, words, outcome, stale } = event.detail;
  if (job !== number) return;
  const waits = (await entries()).some((e) => e.job === number && e.state === "waiting");
  if ((stale || !pictures) && !waits) await truth();
  else await show();
  // A plain tick needs no words: the next step is on the page.
  if (words && !(outcome === "stored" && PLAIN.has(kind))) say(words, event.type === "countback:refused" ? "refused" : kind === "reject" ? "failed" : "says");
}

/* ---- Start ---- */

async function begin() {
  if (!(await available())) return fallBack();
  await settlePacks();
  const fromCopy = document.documentElement.hasAttribute("data-kept");
  if (fromCopy) setContact(navigator.onLine ? "trouble" : "none");
  document.addEventListener("submit", submitted);
  document.addEventListener("click", followed);
  document.addEventListener("countback:press", pressed);
  document.addEventListener("countback:kept", (event) => event.detail.elsewhere && show());
  document.addEventListener("countback:confirmed", confirmed);
  document.addEventListener("countback:refused", (event) => (event.detail.job ? confirmed(event) : say(event.detail.words, "refused")));
  document.addEventListener("countback:changed", () => truth());
  await watch();
  const { head, waiting } = await look(number);
  const version = pageVersion();
  fingers();
  // What the server has just sent is newer than an older walk; what waits here is newer than both.
  if (head && (fromCopy || (head.version >= version && waiting.length))) await show({ force: true });
  document.documentElement.removeAttribute("data-kept");
  document.body.dataset.outbox = "on";
  start();
  await flush();
  if (new URLSearchParams(location.search).get("step")) shown = { sig: "", look: "?", free: true };
  else if (await renew()) await show({ adopt: true });
  else if (!pictures) pictures = await frames(number);
  keepPages(number);
}

begin();

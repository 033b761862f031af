/* Puts a frame on the page: region by region, the drawing only when it is another one. Focus stays where it was. */
import { fill } from "./strip.js";
import { lastTick, secondsAt } from "./walk.js";

const REGIONS = [".strip", ".bench-drawing", ".step", ".bench-rail", ".bar"];
const main = () => document.getElementById("main");
const template = (id) => document.getElementById(id).content.cloneNode(true);

let parsed = { html: null, fragment: null };

/* Read a frame's markup ahead of its tap. */
export function prepare(html) {
  if (!html || parsed.html === html) return;
  // In this document, so that nothing has to be adopted when it is shown.
  parsed = { html, fragment: document.createRange().createContextualFragment(html) };
}

export function fragmentOf(html) {
  prepare(html);
  const { fragment } = parsed;
  parsed = { html: null, fragment: null };
  return fragment;
}

/* The descent has a level a step, and a tick changes two of them: the others stay, styled and laid out as they are. */
function climb(now, next) {
  const [levels, coming] = [now, next].map((rail) => [...rail.querySelectorAll(".levels > li")]);
  if (!coming.length || levels.length !== coming.length) return now.replaceWith(next);
  coming.forEach((level, n) => level.isEqualNode(levels[n]) || levels[n].replaceWith(level));
  now.querySelector(".descent").className = next.querySelector(".descent").className;
  const [bottom, below] = [now, next].map((rail) => rail.querySelector(".descent > .bottom"));
  if (below && !below.isEqualNode(bottom)) bottom?.replaceWith(below);
}

/* Replace the page's regions by those of a fragment. */
export function swap(fragment) {
  const page = main();
  const active = document.activeElement;
  const held = active && page.contains(active) ? (active.closest(".tick") ? ".tick" : active.closest(".bar form") ? ".bar form button" : null) : null;
  // A focused button that is taken off the page costs a layout of its own.
  if (held) active.blur();
  fill(fragment);
  for (const name of REGIONS) {
    const [now, next] = [page.querySelector(name), fragment.querySelector(name)];
    if (!next) continue;
    if (!now) page.append(next);
    else if (name === ".bench-drawing" && now.dataset.drawing && now.dataset.drawing === next.dataset.drawing) {
      now.className = next.className;
      now.querySelector(":scope > .places")?.remove();
      now.append(...next.querySelectorAll(":scope > .places"));
      now.querySelector(":scope > .clip")?.remove();
      now.append(...next.querySelectorAll(":scope > .clip"));
    }
    else if (name === ".bench-rail") climb(now, next);
    else now.replaceWith(next);
  }
  // Focus asks for a layout of its own: it follows the picture.
  if (held) requestAnimationFrame(() => setTimeout(() => document.activeElement === document.body && page.querySelector(held)?.focus({ preventScroll: true })));
  document.documentElement.removeAttribute("data-kept");
  document.dispatchEvent(new CustomEvent("countback:painted", { detail: {} }));
}

function drawing(fragment, drawings) {
  const place = fragment.querySelector(".bench-drawing[data-drawing]");
  const shown = main().querySelector(".bench-drawing")?.dataset.drawing;
  if (!place || place.querySelector(":scope > svg:not(.places)") || place.dataset.drawing === shown) return;
  const svg = drawings[place.dataset.drawing];
  if (svg) place.insertAdjacentHTML("afterbegin", svg);
}

function clock(fragment, head, at) {
  const time = fragment.querySelector(".strip .clock time");
  if (!time) return;
  const seconds = Math.round(secondsAt(head, at.spans, Date.now()));
  const running = at.open && (head.clock.running || at.spans.length > 0);
  const two = (n) => String(n).padStart(2, "0");
  const short = two(Math.floor((seconds % 3600) / 60)) + ":" + two(seconds % 60);
  time.textContent = seconds >= 3600 ? Math.floor(seconds / 3600) + ":" + short : short;
  if (running) time.dataset.countFrom = seconds;
  else delete time.dataset.countFrom;
}

function back(fragment, head, at) {
  const input = fragment.querySelector("form[data-outbox=undo] input[name=undoes]");
  if (!input) return;
  input.value = at.i > 0 ? lastTick(head, at) : "";
  input.form.querySelector("button").disabled = !input.value;
}

function bar(fragment, id, fillIn = () => {}) {
  const filled = template(id);
  fillIn(filled);
  const tick = fragment.querySelector(".bar .tick-form");
  if (tick) tick.replaceWith(filled);
  else fragment.querySelector(".bar")?.append(filled);
}

/* What is pressed or cures runs on beside the steps that follow. */
function presses(fragment, at) {
  const body = fragment.querySelector(".step-body");
  for (const line of body?.querySelectorAll(".cure") || []) line.remove();
  for (const { words, until_ms } of body ? at.timers : []) {
    if (until_ms <= Date.now()) continue;
    const line = template("t-press").firstElementChild;
    line.querySelector("span").textContent = words;
    line.querySelector("time").dataset.until = until_ms;
    body.append(line);
  }
}

/* When the step becomes free: a cure counts from the tick before it, wherever that was confirmed. 0: it is free. */
export function readyAt(head, at) {
  const wait = head.steps[at.i]?.wait_s;
  const since = at.walls[at.i];
  const ready = wait && since ? since + wait * 1000 : 0;
  return ready > Date.now() ? ready : 0;
}

/* Show the frame where the tablet stands. */
export function paintFrame(pictures, head, at) {
  const fragment = fragmentOf(at.i === 0 && at.open && pictures.opened ? pictures.opened : pictures.html[at.i]);
  const step = head.steps[at.i];
  drawing(fragment, pictures.drawings);
  clock(fragment, head, at);
  back(fragment, head, at);
  presses(fragment, at);
  const ready = readyAt(head, at);
  if (!at.open && at.paused !== null) {
    fragment.querySelector(".bar").replaceChildren(template("t-resume"));
    fragment.querySelector("[data-slot=reason]").textContent = "Paused: " + at.paused;
  } else if (ready) {
    bar(fragment, "t-cure", (filled) => {
      filled.querySelector("time").dataset.until = ready;
    });
  } else if (step?.entry && step.wait_s && !fragment.querySelector(".bar form.tick-form")) {
    bar(fragment, "t-tick", (filled) => {
      filled.querySelector("[name=side]").value = step.entry.kind === "turn" ? "turn" : step.entry.side;
      filled.querySelector("[name=step]").value = step.entry.step || "";
    });
  }
  if (at.also.length) note(fragment, also(at.also), "also");
  swap(fragment);
  return ready;
}

const ALSO = { report: ["report", "reports"], reject: ["failed inspection", "failed inspections"], photo: ["photo", "photos"], take_back: ["report taken back", "reports taken back"], recount: ["recount", "recounts"] };

function also(kinds) {
  const counts = {};
  for (const kind of kinds) counts[kind] = (counts[kind] || 0) + 1;
  const words = Object.entries(counts).map(([kind, n]) => n + " " + (ALSO[kind] || [kind, kind])[n === 1 ? 0 : 1]);
  return "Also waiting: " + words.join(", ") + ". What follows from it shows once the server has it; until then the steps are what the sheet expects.";
}

/* Show another step than the one in hand: to read, not to tick. */
export function paintLook(pictures, head, at, index) {
  const fragment = fragmentOf(pictures.html[index]);
  drawing(fragment, pictures.drawings);
  clock(fragment, head, at);
  for (const input of fragment.querySelectorAll(".reject, .exchange, .bench-say")) input.remove();
  for (const place of fragment.querySelectorAll(".place-button, .place-target")) place.disabled = true;
  const strip = fragment.querySelector(".kicker");
  if (strip && !/not next|done/.test(strip.textContent)) strip.textContent += index < at.i ? " · done" : " · not next";
  fragment.querySelector(".bar").replaceChildren(template("t-look"));
  swap(fragment);
}

const SIGNS = { says: "tick", failed: "cross", refused: "refused" };

/* One message above the bar, until the next tap. */
export function note(root, words, kind = "says", link = null) {
  const step = root.querySelector(".step");
  if (!step) return;
  step.querySelector(".bench-say[data-own=" + kind + "]")?.remove();
  const box = template("t-say").firstElementChild;
  box.dataset.own = kind;
  if (SIGNS[kind]) box.querySelector("use").setAttribute("href", "#m-" + SIGNS[kind]);
  box.classList.toggle("waits", kind !== "says");
  if (kind === "refused") {
    box.classList.add("refused");
    box.setAttribute("role", "alert");
  }
  const text = box.querySelector("p");
  text.textContent = words;
  if (link) {
    const a = document.createElement("a");
    a.href = link.href;
    a.textContent = link.text;
    text.append(" ", a);
  }
  step.append(box);
}

export const say = (words, kind, link) => note(document, words, kind, link);

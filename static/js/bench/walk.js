/* The walk of a job: its frames, one a step, and where the tablet stands on it. The head (small) says the order, the
   server's place and version; frames and drawings lie beside it. Where we stand is worked out from the head and the
   entries that wait, so that every tab comes to the same place. */
import { read, waitingOf, write } from "./store.js";

const same = (entry, side, step) => !!entry && (entry.side || "") === side && (entry.step || "") === step;
export const isTick = (kind) => kind === "tick" || kind === "turn";

/* Steps walked by entries that wait: place, ids and times of the ticks that led to each place, pauses, reports. */
export function stand(head, waiting) {
  const at = { i: head.now, ids: { ...head.ids }, walls: { ...head.walls }, timers: [...(head.timers || [])], paused: head.paused, open: head.open, also: [], spans: [] };
  for (const entry of waiting) {
    if (isTick(entry.kind)) walkOn(head, at, entry);
    else if (entry.kind === "undo") walkBack(head, at, entry);
    else if (entry.kind === "pause") Object.assign(at, { paused: entry.data.reason || "Pause", open: false });
    else if (entry.kind === "open") Object.assign(at, { paused: null, open: true });
    else if (entry.kind !== "place") at.also.push(entry.kind);
    if (entry.kind === "pause" || entry.kind === "open") at.spans.push([entry.kind, entry.wall_ms]);
  }
  return at;
}

function walkOn(head, at, entry) {
  const rejects = entry.data.rejects || [];
  for (const _ of rejects) at.also.push("reject");
  // On the way back a step with a failed inspection is reported and not ticked.
  if (rejects.length && entry.side === "up") return;
  if (!same(head.steps[at.i]?.entry, entry.side, entry.step)) return;
  at.timers = begun(at.timers, head.steps[at.i], entry);
  at.i += 1;
  at.ids[at.i] = entry.id;
  at.walls[at.i] = entry.wall_ms;
}

function walkBack(head, at, entry) {
  const known = at.ids[at.i] || head.steps[at.i]?.undoes;
  if (at.i <= 0 || known !== entry.data.undoes) return;
  at.i -= 1;
  at.timers = ended(at.timers, head.steps[at.i]);
}

/* Cures and presses that run: the tick of a step may set one going, and taking it back ends it. */
const ended = (timers, step) => (timers || []).filter(({ key }) => key !== step?.key);
const begun = (timers, step, entry) => (step?.timer_s ? [...ended(timers, step), { key: step.key, words: step.timer, until_ms: entry.wall_ms + step.timer_s * 1000 }] : timers || []);

/* The entry that would take the last tick back, or nothing. */
export const lastTick = (head, at) => at.ids[at.i] || head.steps[at.i]?.undoes || "";

/* Why a tap must not become an entry: it was made on a page that is behind, here or in another tab. */
export function doubled(head, waiting, entry) {
  if (entry.kind === "undo") return waiting.some((e) => e.kind === "undo" && e.data.undoes === entry.data.undoes);
  if (!head) {
    const ticks = waiting.filter((e) => isTick(e.kind));
    const undone = new Set(waiting.filter((e) => e.kind === "undo").map((e) => e.data.undoes));
    return isTick(entry.kind) && ticks.some((e) => !undone.has(e.id) && same(e, entry.side, entry.step));
  }
  const at = stand(head, waiting);
  if (entry.kind === "pause") return at.paused !== null && !at.open;
  if (entry.kind === "open") return at.open;
  if (!isTick(entry.kind) || same(head.steps[at.i]?.entry, entry.side, entry.step)) return false;
  if (!entry.free) return true;
  return waiting.some((e) => isTick(e.kind) && same(e, entry.side, entry.step));
}

/* The version the tablet takes the job to have, before the next entry. */
export const baseOf = (head, waiting) => (head ? head.version + waiting.length : 0);

/* The head after the server confirmed `entry` with `answer`; `stale` asks for a new walk. */
export function advance(head, entry, answer) {
  const next = { ...head, ids: { ...head.ids }, walls: { ...head.walls } };
  if (answer.version <= head.version) return next;
  const step = head.steps[head.now];
  const plain = answer.outcome === "stored" && !(entry.data.rejects || []).length;
  let expected = head.version + 1;
  if (plain && isTick(entry.kind) && same(step?.entry, entry.side, entry.step)) {
    expected = head.version + Math.max(1, (head.steps[head.now + 1]?.version ?? 0) - step.version);
    next.timers = begun(head.timers, step, entry);
    next.now += 1;
    next.ids[next.now] = entry.id;
    next.walls[next.now] = entry.wall_ms;
  } else if (plain && entry.kind === "undo" && entry.data.undoes === (head.ids[head.now] || step?.undoes) && head.now > 0) {
    next.now -= 1;
    next.timers = ended(head.timers, next.steps[next.now]);
  } else if (plain && entry.kind === "pause") {
    Object.assign(next, { paused: entry.data.reason || "Pause", open: false, clock: { ...head.clock, base_s: secondsAt(head, [], entry.wall_ms), wall: entry.wall_ms, running: false } });
  } else if (plain && entry.kind === "open") {
    Object.assign(next, { paused: null, open: true, clock: { ...head.clock, wall: entry.wall_ms, running: true } });
  } else if (entry.kind !== "place" || !plain) {
    next.stale = true;
  }
  next.version = answer.version;
  if (answer.version !== expected || !next.steps[next.now]) next.stale = true;
  return next;
}

/* Bench time so far, going on without the server: the walk's, moved on by the clock and stopped by pauses. */
export function secondsAt(head, spans, now) {
  let { base_s: total, wall, running } = head.clock;
  for (const [kind, at] of spans) {
    if (running) total += Math.max(0, at - wall) / 1000;
    running = kind === "open";
    wall = at;
  }
  return running ? total + Math.max(0, now - wall) / 1000 : total;
}

const attribute = (html, pattern) => pattern.exec(html)?.[1];

/* Make the head of a walk as the server sent it. */
function headOf(walk) {
  const shown = walk.frames[walk.now]?.html || "";
  const mode = attribute(shown, /data-mode="(\w+)"/) || "step";
  const counting = attribute(shown, /data-count-from="(\d+)"/);
  return {
    number: walk.number, version: walk.version, now: walk.now, made: walk.made_ms, person: walk.person,
    open: !["open", "paused", "takeover"].includes(mode),
    paused: mode === "paused" ? attribute(shown, /data-paused="([^"]*)"/) || "" : null,
    mode, ids: {}, walls: { [walk.now]: walk.made_ms }, looks: walk.looks || {}, timers: walk.timers || [], stale: false,
    clock: { base_s: Number(attribute(shown, /data-seconds="(\d+)"/) ?? counting ?? 0), running: counting !== undefined, wall: Date.now() },
    steps: walk.frames.map((frame) => ({
      key: frame.key, entry: frame.entry, version: frame.version, wait_s: frame.wait_s, blocked: frame.blocked, undo: frame.undo, timer: frame.timer, timer_s: frame.timer_s,
      // Ticks that are only expected have no id yet.
      undoes: frame.i <= walk.now ? attribute(frame.html, /name="undoes" value="([^"]*)"/) || "" : "",
    })),
  };
}

/* Keep a walk that the server sent, unless a later answer is known already. */
export async function keepWalk(walk) {
  const head = headOf(walk);
  const pictures = { number: walk.number, made: walk.made_ms, html: walk.frames.map((frame) => frame.html), opened: walk.opened || "", drawings: walk.drawings || {} };
  await write(["walks", "frames"], async (t) => {
    const known = await t.objectStore("walks").get(walk.number);
    if (known && known.version > head.version) return;
    // Times and ids of ticks made here are better than none.
    if (known && known.version === head.version && known.walls[known.now]) head.walls[head.now] = known.walls[known.now];
    if (known && known.ids[known.now] && known.ids[known.now] === head.steps[head.now]?.undoes) head.walls[head.now] = known.walls[known.now];
    await t.objectStore("walks").put(head);
    await t.objectStore("frames").put(pictures);
  }, "relaxed");
}

/* Head, waiting entries and place of a job in one look; `seen` is what an entry's own transaction saw already. */
export async function look(number, seen = null) {
  const { head, waiting } =
    seen ||
    (await read(["walks", "outbox"], async (t) => ({
      head: await t.objectStore("walks").get(number),
      waiting: await waitingOf(t.objectStore("outbox"), number),
    })));
  return { head, waiting, at: head ? stand(head, waiting) : null };
}

export const frames = (number) => read("frames", (t) => t.store.get(number));
export const kept = () => read("walks", (t) => t.store.getAll());

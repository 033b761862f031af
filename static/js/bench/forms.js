/* What a form of the bench pages means as an entry. The forms work by themselves where scripts do not run. */

const READ = {
  tick: (form, element) => ({
    kind: form.get("side") === "turn" ? "turn" : "tick",
    side: form.get("side") === "turn" ? "" : form.get("side"),
    step: form.get("step") || "",
    data: only({
      rejects: [...new Set(form.getAll("reject"))].sort(),
      old_serial: (form.get("old_serial") || "").trim(),
      scanned: [...element.querySelectorAll("input[name=scanned]")].map(({ dataset }) => ({ part: dataset.part, lot: dataset.lot })),
    }),
  }),
  undo: (form) => ({ kind: "undo", data: { undoes: form.get("undoes") } }),
  open: () => ({ kind: "open" }),
  pause: (form) => ({ kind: "pause", data: { reason: form.get("reason") || "Break" } }),
  report: (form) => ({
    kind: "report",
    step: form.get("step") || "",
    data: { report: form.get("kind"), count: Number(form.get("count")) || 1, ...only({ item: form.get("item"), part: (form.get("part") || "").trim(), note: (form.get("note") || "").trim() }) },
  }),
  take_back: (form) => ({ kind: "take_back", data: { undoes: form.get("undoes") } }),
  recount: (form) => ({ kind: "recount", data: { counted: counted(form) } }),
};
READ.turn = READ.tick;

/* Leave out what is empty, so that an entry says only what was said. */
function only(values) {
  return Object.fromEntries(Object.entries(values).filter(([, value]) => (Array.isArray(value) ? value.length : value)));
}

function counted(form) {
  const found = {};
  for (const [name, value] of form) if (name.startsWith("pocket-") && value !== "") found[name.slice(7)] = Number(value);
  return found;
}

/* Return the entry of a form, or null for a form that is not ours. Listeners of `countback:entering` may add to its data. */
export function entryOf(form, submitter) {
  const read = READ[form.dataset.outbox];
  if (!read) return null;
  const entry = { job: /\/jobs\/([^/]+)\//.exec(form.action)?.[1], ...read(new FormData(form, submitter), form) };
  document.dispatchEvent(new CustomEvent("countback:entering", { detail: entry }));
  return entry;
}

export const photosOf = (form) => [...new FormData(form).getAll("photos")].filter((file) => file instanceof File && file.size);

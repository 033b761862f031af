/* Our label codes on the tablet: the same reading as app/rules/scan_codes.py, so that a scan is told at once, offline too. */
const ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
const KINDS = { J: ["job", "job"], T: ["tray", "job", "pocket"], S: ["shelf", "location"], L: ["lot", "part", "lot"] };
const SIGNS = { D: "-", P: ".", S: "/", B: " ", U: "_", X: "X" };

export const NOT_OURS = "Not one of our labels. Scan the square code of a job, a tray pocket, a place or a lot.";
export const MISREAD = "Misread: scan again.";

/* ISO 7064 MOD 37,36 over the whole code, check character included. */
function checks(code) {
  let sum = 36;
  for (const sign of code.slice(0, -1)) {
    const rest = (sum + ALPHABET.indexOf(sign)) % 36 || 36;
    sum = (rest * 2) % 37;
  }
  return (sum + ALPHABET.indexOf(code.at(-1))) % 36 === 1;
}

function fieldsOf(written) {
  const fields = [""];
  let bytes = [];
  const flush = () => {
    if (bytes.length) fields[fields.length - 1] += new TextDecoder("utf-8", { fatal: true, ignoreBOM: true }).decode(new Uint8Array(bytes));
    bytes = [];
  };
  for (const [piece] of written.matchAll(/XF|XH[0-9A-F]{2}|XL[A-Z]|X[DPSBUX]|[0-9A-WYZ]|./gs)) {
    if (piece.startsWith("XH")) {
      bytes.push(parseInt(piece.slice(2), 16));
      continue;
    }
    flush();
    if (piece === "XF") fields.push("");
    else if (piece === "X") throw new Error("an escape of nothing");
    else fields[fields.length - 1] += piece.length === 1 ? piece : piece[1] === "L" && piece[2] ? piece[2].toLowerCase() : SIGNS[piece[1]];
  }
  flush();
  return fields;
}

/* Return {kind, job, pocket, location, part, lot, code} or {error} in words. */
export function readLabel(text) {
  const code = text.replace(/\s+/g, "").toUpperCase();
  const found = /^CB([JTSL])[0-9A-Z]{2,}$/.exec(code);
  if (!found) return { error: NOT_OURS };
  if (!checks(code)) return { error: MISREAD };
  const [kind, ...names] = KINDS[found[1]];
  let fields;
  try {
    fields = fieldsOf(code.slice(3, -1));
  } catch {
    return { error: MISREAD };
  }
  if (fields.length !== names.length || fields.some((field) => !field)) return { error: MISREAD };
  return { kind, code, ...Object.fromEntries(names.map((name, n) => [name, fields[n]])) };
}

/* The same of what a camera reads: the address on a pick list leads to its job. */
export function readSeen(text) {
  const address = URL.canParse(text) && new URL(text);
  const job = address && address.origin === location.origin && /^\/jobs\/([^/]+)$/.exec(address.pathname);
  return job ? { kind: "job", job: job[1], code: "" } : readLabel(text);
}

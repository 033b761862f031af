/* The camera as a scanner, in a dialog. Fetched when it is opened: with BarcodeDetector where the browser reads QR codes
   itself, else with a WebAssembly reader. The picture stays on the tablet. */
import { readSeen } from "./label.js";
import { show } from "./tones.js";

const LOOK_EVERY_MS = 150;
const WIDTH = 800;
let open = false;

const WHY = {
  NotAllowedError: "The camera is not allowed for this site. Allow it in the browser's settings, or type the code.",
  NotFoundError: "There is no camera here. Type the code, or use a scanner.",
  NotReadableError: "Another program uses the camera. Close it and try again, or type the code.",
};

async function stream() {
  if (!navigator.mediaDevices) throw new DOMException("", "SecurityError");
  return navigator.mediaDevices.getUserMedia({ audio: false, video: { facingMode: { ideal: "environment" }, width: { ideal: 1280 } } });
}

/* Return an async function of a canvas that gives the texts of the codes on it. */
async function reader() {
  if (globalThis.BarcodeDetector && (await BarcodeDetector.getSupportedFormats()).includes("qr_code")) {
    const detector = new BarcodeDetector({ formats: ["qr_code"] });
    return async (canvas) => (await detector.detect(canvas)).map((found) => found.rawValue);
  }
  const { reader: script, wasm } = document.querySelector("script[data-reader]").dataset;
  if (!globalThis.ZXingWASM) {
    await new Promise((done, failed) => {
      const tag = Object.assign(document.createElement("script"), { src: script, onload: done, onerror: () => failed(new Error("not loaded")) });
      document.head.append(tag);
    });
  }
  const answer = await fetch(wasm);
  if (!answer.ok) throw new Error("not loaded");
  await ZXingWASM.prepareZXingModule({ overrides: { wasmBinary: await answer.arrayBuffer() }, fireImmediately: true });
  return async (canvas) => {
    const pixels = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
    const found = await ZXingWASM.readBarcodes(pixels, { formats: ["QRCode"], maxNumberOfSymbols: 4 });
    return found.filter((each) => each.isValid).map((each) => each.text);
  };
}

function drawDialog() {
  const dialog = Object.assign(document.createElement("dialog"), { className: "scan-dialog" });
  dialog.setAttribute("aria-labelledby", "scan-title");
  dialog.innerHTML =
    '<h2 id="scan-title">Scan a label</h2><video playsinline muted aria-label="What the camera sees"></video>' +
    '<p role="status">Opening the camera.</p>' +
    '<div class="row"><a class="button plain large" href="/scan">Type the code</a><button type="button" class="button large">Close</button></div>';
  dialog.querySelector("button").addEventListener("click", () => dialog.close());
  document.body.append(dialog);
  return dialog;
}

export async function openCamera(scanned) {
  if (open) return;
  open = true;
  const dialog = drawDialog();
  const [video, say] = [dialog.querySelector("video"), dialog.querySelector("p")];
  const canvas = document.createElement("canvas");
  let camera = null, closed = false;
  dialog.addEventListener("close", () => {
    closed = true;
    open = false;
    for (const track of camera?.getTracks() || []) track.stop();
    dialog.remove();
  });
  dialog.showModal();
  let read;
  try {
    [camera, read] = await Promise.all([stream().then((found) => (camera = found)), reader()]);
    if (closed) throw new DOMException("", "AbortError");
    video.srcObject = camera;
    await video.play();
  } catch (error) {
    for (const track of camera?.getTracks() || []) track.stop();
    if (closed) return;
    say.textContent = WHY[error.name] || (error.name === "SecurityError"
      ? "The browser gives the camera to pages with HTTPS only. Type the code, or use a scanner."
      : "The camera cannot be used now. Type the code, or use a scanner.");
    video.hidden = true;
    return;
  }
  say.textContent = "Hold the square code in the picture.";
  let foreign = "";
  while (!closed) {
    if (video.videoWidth) {
      const scale = Math.min(1, WIDTH / video.videoWidth);
      Object.assign(canvas, { width: Math.round(video.videoWidth * scale), height: Math.round(video.videoHeight * scale) });
      canvas.getContext("2d", { willReadFrequently: true }).drawImage(video, 0, 0, canvas.width, canvas.height);
      const texts = await read(canvas).catch(() => []);
      if (closed) return;
      const ours = texts.find((text) => !readSeen(text).error);
      if (ours) {
        dialog.close();
        scanned(ours);
        return;
      }
      if (texts.length && texts[0] !== foreign) {
        foreign = texts[0];
        say.textContent = readSeen(foreign).error;
        show("refused");
      }
    }
    await new Promise((next) => setTimeout(next, LOOK_EVERY_MS));
  }
}

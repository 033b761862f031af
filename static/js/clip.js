/* A step's clip: loops within its part of the recording, plays by itself only where motion is welcome, and gives way to a
   note when it cannot be fetched. Clips that are put on the page later are found too. */
const calm = matchMedia("(prefers-reduced-motion: reduce)");
const known = new WeakSet();
const loaded = new Promise((done) => (document.readyState === "complete" ? done() : addEventListener("load", done, { once: true })));

function set(figure) {
  if (known.has(figure)) return;
  known.add(figure);
  const [video, button, away] = ["video", ".clip-switch", ".clip-away"].map((name) => figure.querySelector(name));
  if (!video || !button) return;
  const [from, to] = [Number(figure.dataset.from), Number(figure.dataset.to)];
  const label = () => (button.textContent = video.paused ? "Play the clip" : "Pause the clip");
  const back = () => (video.currentTime = from);
  const play = () => {
    if (video.currentTime < from - 0.1 || video.currentTime >= to) back();
    return video.play().catch(() => label());
  };
  const gone = (is) => {
    for (const part of [video, button.parentElement]) part.hidden = is;
    away.hidden = !is;
  };
  video.controls = false;
  video.muted = true;
  button.hidden = false;
  for (const name of ["play", "pause"]) video.addEventListener(name, label);
  video.addEventListener("timeupdate", () => video.currentTime >= to && back());
  /* The browser stops by itself at the end of the fragment, or of the file. */
  video.addEventListener("pause", () => video.currentTime >= to - 0.05 && !figure.dataset.held && play());
  video.addEventListener("ended", () => figure.dataset.held || play());
  video.addEventListener("error", () => gone(true));
  button.addEventListener("click", () => {
    if (video.paused) {
      delete figure.dataset.held;
      play();
    } else {
      figure.dataset.held = "yes";
      video.pause();
    }
  });
  addEventListener("online", () => {
    if (!away.hidden && figure.isConnected) {
      gone(false);
      video.load();
      label();
    }
  });
  label();
  if ("plays" in figure.dataset) loaded.then(() => figure.isConnected && !calm.matches && (navigator.onLine ? play() : gone(true)));
}

const look = () => document.querySelectorAll("[data-clip]").forEach(set);
new MutationObserver(look).observe(document.documentElement, { childList: true, subtree: true });
calm.addEventListener("change", () => calm.matches && document.querySelectorAll("[data-clip] video").forEach((video) => video.pause()));
look();

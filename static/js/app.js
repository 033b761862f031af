/* What plain HTML cannot do: clocks that count on, a first look at page colours, printing, steppers.
   Every page works without this file. Listeners sit on the document, so parts swapped in later need no setting up. */
(function () {
  "use strict";

  const root = document.documentElement;
  root.classList.add("js");

  /* Clocks. [data-count-from] holds seconds and counts up from when the page first showed it; [data-until] counts down to a moment. */
  const started = new WeakMap();

  function clock(seconds) {
    const s = Math.max(0, Math.floor(seconds));
    const two = (n) => String(n).padStart(2, "0");
    const h = Math.floor(s / 3600);
    const rest = two(Math.floor((s % 3600) / 60)) + ":" + two(s % 60);
    return h > 0 ? h + ":" + rest : rest;
  }

  function put(element, text) {
    if (element.textContent !== text) element.textContent = text;
  }

  function tickClocks() {
    for (const element of document.querySelectorAll("[data-count-from]")) {
      const base = Number(element.dataset.countFrom);
      let mine = started.get(element);
      if (!mine || mine.base !== base) {
        mine = { base: base, at: performance.now() };
        started.set(element, mine);
      }
      put(element, clock(base + (performance.now() - mine.at) / 1000));
    }
    for (const element of document.querySelectorAll("[data-until]")) {
      const left = (Number(element.dataset.until) - Date.now()) / 1000;
      put(element, left > 0 ? clock(left) : element.dataset.ready || "Ready");
      const box = element.closest(".cure");
      if (box) box.classList.toggle("is-ready", left <= 0);
    }
  }

  document.addEventListener("click", function (event) {
    const stepper = event.target.closest("[data-step]");
    if (stepper) {
      const input = stepper.parentElement.querySelector("input");
      const wanted = (Number(input.value) || 0) + Number(stepper.dataset.step);
      const low = input.min === "" ? -Infinity : Number(input.min);
      const high = input.max === "" ? Infinity : Number(input.max);
      input.value = String(Math.min(high, Math.max(low, wanted)));
      input.dispatchEvent(new Event("input", { bubbles: true }));
      input.dispatchEvent(new Event("change", { bubbles: true }));
      return;
    }
    if (event.target.closest("[data-print]")) {
      window.print();
      return;
    }
    const choice = event.target.closest("[data-display-form] button");
    if (choice) root.dataset[choice.name] = choice.value;
    for (const open of document.querySelectorAll("details.account[open]")) {
      if (!open.contains(event.target)) open.open = false;
    }
  });

  document.addEventListener("keydown", function (event) {
    if (event.key !== "Escape") return;
    for (const open of document.querySelectorAll("details.account[open]")) {
      open.open = false;
      open.querySelector("summary").focus();
    }
  });

  /* A form that comes back to the same page keeps the place on it. */
  const placeKey = "countback-place";
  document.addEventListener("submit", function (event) {
    if (!event.target.matches("[data-keep-place]")) return;
    sessionStorage.setItem(placeKey, JSON.stringify([location.pathname, window.scrollY]));
  });
  try {
    const kept = JSON.parse(sessionStorage.getItem(placeKey) || "null");
    sessionStorage.removeItem(placeKey);
    if (kept && kept[0] === location.pathname) window.scrollTo(0, kept[1]);
  } catch (error) {
    sessionStorage.removeItem(placeKey);
  }

  function showRefusal() {
    const refusal = document.getElementById("refusal");
    if (refusal) refusal.focus();
  }

  for (const swapped of ["htmx:after:swap", "countback:painted"]) {
    document.addEventListener(swapped, function () {
      root.classList.add("js");
      tickClocks();
      showRefusal();
    });
  }
  setInterval(tickClocks, 1000);
  tickClocks();
  showRefusal();
  /* A field that was refused may lie below what is in sight. */
  const wrong = document.getElementById("refusal") ? null : document.querySelector('main [aria-invalid="true"]');
  if (wrong) (wrong.matches("fieldset") ? wrong.querySelector("input") : wrong)?.focus();
})();

/* Writing a procedure: a form that saves itself, and places set by tapping the picture. Every page works without it.
   The form is sent by hand rather than by htmx, for a save must carry the version that the one before it made: it
   waits for that answer and takes what stands in the fields then. */
(function () {
  "use strict";

  const PAUSE_MS = 900;
  const form = document.querySelector("form[data-autosave]");
  let timer = 0;
  let busy = false;
  let dirty = false;
  let leaving = false;

  function say(words) {
    const line = document.querySelector("#save-state .save-words span");
    if (line) line.textContent = words;
  }

  /* What is mended loses its message; what is new is in the bar until the page is loaded again. */
  function clearMended(state) {
    const wrong = new Set([...state.querySelectorAll("[data-field]")].map((item) => item.dataset.field));
    for (const field of form.querySelectorAll(".field.wrong")) {
      const control = field.querySelector(".control > :is(input, select, textarea)");
      if (!control || wrong.has(control.name)) continue;
      field.classList.remove("wrong");
      control.removeAttribute("aria-invalid");
      const message = document.getElementById(control.id + "-error");
      if (message) message.remove();
    }
  }

  async function save() {
    if (busy || leaving || !dirty) return;
    busy = true;
    dirty = false;
    try {
      const answer = await fetch(form.action, {
        method: "POST",
        body: new URLSearchParams(new FormData(form)),
        headers: { "HX-Request-Type": "partial" },
      });
      if (answer.status === 409 || answer.status === 422) {
        leaving = true;
        form.requestSubmit ? form.requestSubmit() : form.submit();
        return;
      }
      const made = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("save-state");
      if (!answer.ok || !made) throw new Error(String(answer.status));
      const here = document.getElementById("save-state");
      const open = here.querySelector("details[open]");
      here.replaceWith(document.adoptNode(made));
      if (open && made.querySelector("details")) made.querySelector("details").open = true;
      const version = made.querySelector("[name=version]").value;
      for (const other of document.querySelectorAll("input[data-version]")) other.value = version;
      clearMended(made);
    } catch (error) {
      dirty = true;
      say("Not saved yet: no contact with the server. It is tried again; leave this page open.");
      window.clearTimeout(timer);
      timer = window.setTimeout(save, 5000);
    } finally {
      busy = false;
    }
    if (dirty && !leaving) later();
  }

  function later() {
    window.clearTimeout(timer);
    timer = window.setTimeout(save, PAUSE_MS);
  }

  function touched() {
    if (!form) return;
    dirty = true;
    say("Not saved yet.");
    later();
  }

  if (form) {
    form.addEventListener("input", touched);
    form.addEventListener("change", touched);
    /* Whoever was quicker than this script has typed already. */
    if ([...form.elements].some((one) => "defaultValue" in one && one.type !== "hidden" && one.type !== "checkbox" && one.value !== one.defaultValue)) touched();
    form.addEventListener("submit", function () {
      leaving = true;
      window.clearTimeout(timer);
    });
    /* The other small forms of the page carry the version too: what is typed is saved before one of them is sent. */
    document.addEventListener("submit", function (event) {
      if (event.target === form || !event.target.querySelector("[data-version]") || (!dirty && !busy)) return;
      event.preventDefault();
      const wanted = event.target;
      const button = event.submitter;
      save();
      const wait = window.setInterval(function () {
        if (busy || dirty) return;
        window.clearInterval(wait);
        wanted.requestSubmit(button || undefined);
      }, 60);
    });
    window.addEventListener("beforeunload", function (event) {
      if ((dirty || busy) && !leaving) event.preventDefault();
    });
  }

  /* Places. Their text field is what counts; the marks on the picture follow it. */
  const figure = document.querySelector("figure.placed");
  const over = figure && figure.querySelector("svg.tap-places");
  if (!over) return;
  const [left, top, width, height] = over.dataset.box.split(" ").map(Number);
  let chosen = "";

  function field(row) {
    return document.querySelector('textarea[name="releases-' + row + '-places"]');
  }

  function places(row) {
    const found = [];
    const box = field(row);
    for (const line of box ? box.value.split("\n") : []) {
      const pair = line.trim().split(/\s+/).map(Number);
      if (pair.length === 2 && pair.every(Number.isFinite)) found.push(pair);
    }
    return found;
  }

  function element(name, values) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const key of Object.keys(values)) made.setAttribute(key, values[key]);
    return made;
  }

  function draw() {
    over.replaceChildren();
    for (const box of document.querySelectorAll('textarea[name$="-places"]')) {
      const row = box.name.split("-")[1];
      places(row).forEach(function (place, index) {
        const x = left + place[0] * width;
        const y = top + place[1] * height;
        const group = element("g", { class: "tap-place" + (row === chosen ? " chosen" : ""), "data-row": row });
        group.append(element("circle", { cx: x, cy: y, r: width * 0.026 }));
        const text = element("text", { x: x, y: y, "font-size": width * 0.034, "text-anchor": "middle", "dominant-baseline": "central" });
        text.textContent = String(index + 1);
        group.append(text);
        over.append(group);
      });
    }
    for (const button of document.querySelectorAll("[data-tap]")) {
      button.setAttribute("aria-pressed", String(button.dataset.tap === chosen));
      const count = document.querySelector('input[name="releases-' + button.dataset.tap + '-count"]');
      button.querySelector("[data-tap-count]").textContent =
        places(button.dataset.tap).length + " of " + ((count && count.value) || "?");
    }
    figure.classList.toggle("tapping", chosen !== "");
  }

  document.addEventListener("click", function (event) {
    const button = event.target.closest("[data-tap]");
    if (!button) return;
    chosen = chosen === button.dataset.tap ? "" : button.dataset.tap;
    draw();
  });

  over.addEventListener("click", function (event) {
    const box = chosen === "" ? null : field(chosen);
    if (!box) return;
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(over.getScreenCTM().inverse());
    const x = (point.x - left) / width;
    const y = (point.y - top) / height;
    if (x < 0 || x > 1 || y < 0 || y > 1) return;
    const all = places(chosen);
    const near = all.findIndex((place) => Math.hypot((place[0] - x) * width, (place[1] - y) * height) < width * 0.03);
    if (near >= 0) all.splice(near, 1);
    else all.push([x, y]);
    box.value = all.map((place) => place.map((n) => String(Math.round(n * 10000) / 10000)).join(" ")).join("\n");
    box.dispatchEvent(new Event("input", { bubbles: true }));
  });

  document.addEventListener("input", function (event) {
    if (/^releases-\d+-(places|count)$/.test(event.target.name || "")) draw();
  });
  draw();
})();

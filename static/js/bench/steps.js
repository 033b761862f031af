/* The rail shows all steps, too small to tap one by one with a glove: a tap on it opens them as large rows. */
export function openSteps() {
  const dialog = Object.assign(document.createElement("dialog"), { className: "steps-dialog" });
  dialog.setAttribute("aria-labelledby", "steps-title");
  dialog.innerHTML = '<div class="steps-head"><h2 id="steps-title">All steps</h2><button type="button" class="button large">Close</button></div><ol></ol>';
  for (const level of document.querySelectorAll(".bench-rail .level")) {
    const link = level.querySelector("a");
    if (!link) continue;
    const row = document.createElement("li"), to = document.createElement("a"), state = document.createElement("small");
    if (level.hasAttribute("aria-current")) row.setAttribute("aria-current", "step");
    to.href = link.getAttribute("href");
    to.append(level.querySelector(".no").textContent + " ", level.querySelector(".title").textContent);
    state.textContent = [...level.querySelectorAll(".hidden-text")].map((words) => words.textContent.replace(/^[,\s]+|[.\s]+$/g, "")).filter(Boolean).join(" · ");
    to.append(state);
    row.append(to);
    dialog.lastChild.append(row);
  }
  // Inside the page, so that a tap on a step is answered as one on the rail would be.
  document.getElementById("main").append(dialog);
  dialog.addEventListener("click", (event) => event.target.closest("a, button") && setTimeout(() => dialog.close()));
  dialog.addEventListener("close", () => dialog.remove());
  dialog.showModal();
  dialog.querySelector("[aria-current]")?.scrollIntoView({ block: "center" });
}

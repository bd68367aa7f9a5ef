// Small comforts; every page works without them.
(() => {
  "use strict";
  const each = (root, selector, act) => root.querySelectorAll(selector).forEach(act);

  // A form marked data-once is sent once, however often the button is pressed.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.matches("[data-once]")) return;
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "yes";
  });
  // Coming back with the browser's own button makes the form usable again.
  window.addEventListener("pageshow", () => each(document, "[data-once]", (form) => delete form.dataset.sent));

  // The drawer closes with Escape and when the focus leaves it.
  const drawer = document.querySelector(".drawer");
  if (drawer) {
    drawer.addEventListener("keydown", (event) => {
      if (event.key !== "Escape" || !drawer.open) return;
      drawer.open = false;
      drawer.querySelector("summary").focus();
    });
    drawer.addEventListener("focusout", (event) => {
      if (event.relatedTarget && !drawer.contains(event.relatedTarget)) drawer.open = false;
    });
  }

  // After a refused form the summary of what is wrong gets the focus; the same for parts that htmx brings.
  const settle = (root) => { const first = root.querySelector("[data-focus]"); if (first) first.focus(); };
  document.addEventListener("DOMContentLoaded", () => settle(document));
  document.addEventListener("htmx:afterSettle", (event) => settle(event.target));

  // A part that could not be fetched says so, instead of nothing happening.
  const failed = () => {
    let note = document.querySelector("[data-failed]");
    if (!note) {
      note = document.createElement("p");
      note.className = "summary";
      note.dataset.failed = "";
      note.setAttribute("role", "alert");
      document.querySelector("main").prepend(note);
    }
    note.textContent = "The page could not be reached. What you see may be out of date; try again, or reload.";
  };
  document.addEventListener("htmx:sendError", failed);
  document.addEventListener("htmx:responseError", failed);
  document.addEventListener("htmx:afterRequest", (event) => {
    if (event.detail.successful) each(document, "[data-failed]", (note) => note.remove());
  });
})();

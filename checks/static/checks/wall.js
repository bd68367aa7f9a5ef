/* Says when the server no longer answers, so that an old picture is never taken for the present one. */
"use strict";
(() => {
  const notice = document.querySelector("[data-stale]");
  const words = notice.textContent;
  const often = 1000 * (parseInt(document.getElementById("wall").getAttribute("hx-trigger").replace(/\D/g, ""), 10) || 30);
  let answered = new Date();

  const clock = (moment) => moment.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });

  function stale(is) {
    notice.hidden = !is;
    document.body.classList.toggle("out", is);
    if (is) notice.textContent = `${words} Last answer ${clock(answered)}.`;
  }

  document.addEventListener("htmx:beforeSwap", (event) => {
    // A page to sign in, say, is no answer: keep the old picture and say that it is old.
    if (event.detail.shouldSwap && !event.detail.serverResponse.includes('id="wall"')) {
      event.detail.shouldSwap = false;
      stale(true);
    }
  });
  document.addEventListener("htmx:afterSwap", () => {
    answered = new Date();
    stale(false);
  });
  for (const name of ["htmx:sendError", "htmx:responseError", "htmx:timeout"]) {
    document.addEventListener(name, () => stale(true));
  }
  // A request that hangs says nothing at all.
  setInterval(() => { if (new Date() - answered > 2.5 * often) stale(true); }, 1000);
})();

// The readout of a chart: hover, tap or the arrow keys show the words of the nearest point under it.
(() => {
  "use strict";
  const steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 };

  const dress = (figure) => {
    if (figure.dataset.dressed) return;
    figure.dataset.dressed = "yes";
    const readout = figure.querySelector("[data-readout]:not(.c-stop)");
    for (const svg of figure.querySelectorAll("svg")) {
      // A reading drawn twice (as read, compensated) has the same words and is one stop.
      const drawn = [...svg.querySelectorAll(".c-stop")].sort((a, b) => a.dataset.x - b.dataset.x);
      const stops = drawn.filter((stop, k) => drawn.findIndex((s) => s.dataset.readout === stop.dataset.readout) === k);
      drawn.forEach((stop) => stop.setAttribute("tabindex", "-1"));
      if (!stops.length) continue;
      let now = 0;
      const show = (index, focus) => {
        stops[now].classList.remove("is-on");
        stops[now].setAttribute("tabindex", "-1");
        now = index;
        stops[now].classList.add("is-on");
        stops[now].setAttribute("tabindex", "0");
        readout.textContent = stops[now].dataset.readout;
        if (focus) stops[now].focus();
      };
      stops.forEach((stop, index) => {
        stop.setAttribute("tabindex", index ? "-1" : "0");
        stop.addEventListener("focus", () => { if (now !== index || !readout.textContent) show(index, false); });
      });
      const nearest = (event) => {
        const box = svg.getBoundingClientRect();
        const scale = svg.viewBox.baseVal.width / box.width;
        const x = (event.clientX - box.left) * scale;
        const y = (event.clientY - box.top) * scale;
        const far = (stop) => Math.abs(stop.dataset.x - x) + Math.abs(stop.dataset.y - y) * 0.25;
        show(stops.indexOf(stops.reduce((a, b) => (far(b) < far(a) ? b : a))), false);
      };
      svg.addEventListener("pointermove", nearest);
      svg.addEventListener("pointerdown", nearest);
      svg.addEventListener("keydown", (event) => {
        const ends = { Home: 0, End: stops.length - 1 };
        const to = event.key in ends ? ends[event.key] : now + (steps[event.key] || 0);
        if (!(event.key in ends) && !(event.key in steps)) return;
        event.preventDefault();
        show(Math.min(Math.max(to, 0), stops.length - 1), true);
      });
    }
  };
  const all = (root) => root.querySelectorAll("[data-chart]").forEach(dress);
  document.addEventListener("DOMContentLoaded", () => all(document));
  document.addEventListener("htmx:afterSettle", (event) => all(event.target));
})();

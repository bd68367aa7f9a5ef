// A timed collection: barred until the pressure has settled, then counted down.

import { clock, field, run, say, seconds, set, text } from "./page.js";
import * as live from "./live.js";
import { setClock } from "./sender.js";
import { buzz, refresh, since, sincePump, stayAwake } from "./timed.js";

export class Collection {
  constructor(root) {
    this.root = root;
    this.step = root.dataset.collection;
    this.known = run.steps[this.step];
    this.at = (name) => root.querySelector(`[data-${name}]`);
    this.at("begin").addEventListener("click", () => this.begin());
    this.at("end").addEventListener("click", () => this.end());
    root.hidden = false;
  }

  /** Why it may not begin, in words; empty where it may. */
  get barred() {
    const waits = live.pressure();
    if (!waits || waits.settled?.settled) return "";
    return `Not yet: the pressure of step ${run.steps[waits.step].number} has not settled.`;
  }

  async begin() {
    if (this.barred) return;
    const waits = live.pressure();
    const pump = waits ? sincePump(waits.step) : null;
    await setClock(`collect-${this.step}`, Date.now());
    set(`reading-${this.step}-0-started`, pump === null ? text(`reading-${this.step}-0-started`) || "0:00" : clock(pump));
    stayAwake();
    this.rang = false;
    refresh();
  }

  async end() {
    const took = since(`collect-${this.step}`);
    await setClock(`collect-${this.step}`, null);
    set(`reading-${this.step}-0-elapsed`, String(Math.round(took * 10) / 10));
    refresh();
    field(`reading-${this.step}-0-typed`).focus();
  }

  refresh() {
    const took = since(`collect-${this.step}`);
    const running = took !== null;
    const began = text(`reading-${this.step}-0-started`);
    this.at("running").hidden = this.at("end").hidden = !running;
    this.at("begin").hidden = running;
    this.at("begin").disabled = Boolean(this.barred);
    say(this.at("begin").querySelector("span"), began ? "Collect again" : "Vessel under: begin to collect");
    if (!running) {
      const length = seconds(text(`reading-${this.step}-0-elapsed`));
      say(this.at("say"), this.barred || (began && length ? `Collected for ${length} s, begun ${began} after pump on. Read the vessel at eye level.` : ""));
      return;
    }
    const left = this.known.duration - took;
    say(this.at("shows"), clock(Math.abs(left) + (left > 0 ? 0.999 : 0)));
    say(this.at("due"), left > 0 ? "left" : "over: take the vessel away, then tap");
    say(this.at("say"), left > 0 ? "Collecting." : "Time is up: take the vessel away, then tap.");
    if (left <= 0 && !this.rang) buzz();
    this.rang = left <= 0;
  }
}

// Timed series and timed collection: by the time of day, so that a reload or a locked phone changes nothing.

import { addRow, all, clock, element, field, form, rowsOf, run, say, seconds, set, text } from "./page.js";
import * as live from "./live.js";
import { changed, record, setClock } from "./sender.js";
import { parseDecimal, shown, UNITS } from "./rules.js";

const TICK_MS = 250;
const BUZZ_MS = 300;
const parts = [];
let lock = null;
let hiddenSince = null;

const buzz = () => navigator.vibrate?.(BUZZ_MS);
const since = (name) => (record().clocks[name] ? (Date.now() - record().clocks[name]) / 1000 : null);

/** Seconds since the pump of a series was switched on; null while it was not. */
export const sincePump = (step) => since(`pump-${step}`);

export async function pumpOn(step) {
  await setClock(`pump-${step}`, Date.now());
  stayAwake();
  refresh();
}

// Some phones let a page keep the screen on; where not, what was missed is shown afterwards.
async function stayAwake() {
  try {
    lock ??= await navigator.wakeLock?.request("screen");
    lock?.addEventListener("release", () => { lock = null; });
  } catch {
    lock = null;
  }
}

class Series {
  constructor(root) {
    this.root = root;
    this.step = root.dataset.series;
    this.known = run.steps[this.step];
    this.at = (name) => root.querySelector(`[data-${name}]`);
    this.input = this.at("value");
    this.state = "";
    this.at("pump").addEventListener("click", () => pumpOn(this.step));
    this.at("take").addEventListener("click", () => this.take());
    this.at("again").addEventListener("click", () => this.again());
    this.input.addEventListener("input", () => this.label());
    this.input.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault(); // the form is not sent by the key that enters a value
      this.take();
    });
    root.hidden = false;
  }

  get last() {
    return live.series(this.step).rows.at(-1)?.typed ?? "";
  }

  label() {
    const words = this.input.value.trim();
    say(this.at("take").querySelector("span"), words ? `Enter ${words} ${UNITS[text(`series-${this.step}-unit`)]?.label ?? ""}` : "Enter the value");
  }

  /** The value into the next row, with the time that has passed since the pump was switched on. */
  async take() {
    const now = sincePump(this.step);
    const { value, reason } = parseDecimal(this.input.value);
    if (value === null) {
      say(this.at("say"), `Not entered: ${reason}.`);
      this.input.focus();
      return;
    }
    const filled = live.series(this.step).rows.map((row) => row.number);
    let number = filled.length ? Math.max(...filled) + 1 : 0;
    if (number === 0 && now >= this.known.cadence / 2) number = 1; // the first row is the one of time zero
    if (number >= rowsOf(this.step).length) addRow(this.step);
    field(`reading-${this.step}-${number}-elapsed`).value = clock(now);
    set(`reading-${this.step}-${number}-typed`, this.input.value.trim());
    this.state = "";
    refresh();
  }

  /** Start anew: what was read before stays in the remarks. */
  async again() {
    const { rows, unit } = live.series(this.step);
    const read = rows.map((row) => `${clock(row.at ?? 0)} ${row.typed}`).join(", ");
    const remark = `Step ${this.known.number}: series started again; before: ${read} ${UNITS[unit]?.label ?? ""}.`;
    if (rows.length) field("remarks").value = [text("remarks"), remark].filter(Boolean).join("\n");
    rowsOf(this.step).forEach((one, number) => {
      one.value = "";
      field(`reading-${this.step}-${number}-elapsed`).value = clock(number * this.known.cadence);
    });
    await pumpOn(this.step);
    await changed();
    this.input.value = "";
    refresh();
  }

  refresh() {
    const now = sincePump(this.step);
    const { rows, unit, resolution } = live.series(this.step);
    const started = now !== null;
    this.at("running").hidden = !started;
    this.at("pump").hidden = started;
    this.at("again").hidden = !started;
    say(this.at("unit"), UNITS[unit]?.label ?? "");
    if (document.activeElement !== this.input && rows.length !== this.shown) this.input.value = this.last;
    if (rows.length !== this.shown) this.input.value = this.last;
    this.shown = rows.length;
    this.label();
    const found = live.settled(this.step);
    this.marks(rows, found);
    this.top();
    if (!started) {
      if (!rows.length) say(this.at("say"), resolution === null ? "Choose the gauge first: what agrees goes by its resolution." : "");
      else this.words(found, resolution, "");
      return;
    }
    say(this.at("shows"), clock(now));
    this.due(now, found, resolution);
  }

  due(now, found, resolution) {
    const course = live.course(this.step, now);
    const next = Number(course.next_s ?? now);
    const words = {
      waiting: `next reading in ${clock(next - now + 0.999)}`,
      "due now": "read now",
      overdue: `late by ${clock(now - next)}: read now`,
    }[course.state] ?? "correct the times";
    say(this.at("due"), found?.settled ? "settled" : words);
    if (this.state && this.state !== course.state && course.state === "due now" && !found?.settled) buzz();
    this.words(found, resolution, found?.settled ? "" : course.state);
    this.state = course.state;
    this.missed = course.missed;
  }

  words(found, resolution, course) {
    let words = { "due now": "Reading due now.", overdue: "The reading is late: read now." }[course] ?? "";
    const unit = text(`series-${this.step}-unit`);
    if (resolution === null) words += " Choose the gauge: what agrees goes by its resolution.";
    if (found?.settled) words = `Settled at ${clock(Number(found.elapsed_s))}: ${shown(found.value, unit)}. The next step may begin.`;
    else if (found && !course.startsWith("due") && course !== "overdue") words = `${found.reason[0].toUpperCase()}${found.reason.slice(1)}.`;
    say(this.at("say"), words.trim());
  }

  top() {
    const top = live.ceiling(this.step);
    const place = this.at("ceiling");
    place.hidden = !top || !live.series(this.step).rows.length;
    if (place.hidden) return;
    place.classList.toggle("act", top.breached);
    say(place, `Ceiling: ${top.reason}.`);
  }

  marks(rows, found) {
    const key = JSON.stringify([rows, found]);
    if (key === this.key) return;
    this.key = key;
    const good = rows.filter((row) => row.at !== null && !row.why);
    const timing = live.course(this.step, Math.max(0, ...good.map((row) => Number(row.at)))).readings;
    this.at("marks").replaceChildren(
      ...rows.map((row) => {
        const place = good.indexOf(row);
        const mark = place < 0 ? (row.why ?? "no time") : (found?.marks[place] ?? "");
        const late = timing[place] && ["late", "early"].includes(timing[place].mark) ? `${timing[place].mark} by ${clock(Math.abs(Number(timing[place].off_s)))}` : "";
        const line = element("li");
        line.append(element("b", row.at === null ? "?" : clock(Number(row.at))), element("span", row.typed), element("em", [mark, late].filter(Boolean).join(", ")));
        return line;
      }),
    );
  }

  /** The phone was locked or another page was looked at: say what fell due meanwhile. */
  back(from) {
    const now = sincePump(this.step);
    if (now === null || live.settled(this.step)?.settled) return;
    const away = now - (Date.now() - from) / 1000;
    const due = [];
    const { missed, next_s, state } = live.course(this.step, now);
    for (const at of [...missed, ...(state === "waiting" ? [] : [next_s])]) if (Number(at) >= away - 10) due.push(clock(Number(at)));
    const place = this.at("missed");
    place.hidden = due.length === 0;
    say(place, due.length ? `While this phone was locked or away (${clock(away)} to ${clock(now)}) a reading was due at ${due.join(", ")}.` : "");
  }
}

class Collection {
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

/** 'Correct or type': the rows themselves, hidden in the step view until they are asked for. */
function typing(root) {
  const button = root.querySelector("[data-correct]");
  button.addEventListener("click", () => {
    const open = button.getAttribute("aria-expanded") !== "true";
    button.setAttribute("aria-expanded", String(open));
    root.closest("section").classList.toggle("by-hand", open);
  });
}

export function refresh() {
  for (const part of parts) part.refresh();
}

/** Bring the timed steps to life. */
export function begin() {
  for (const root of all("[data-series]")) parts.push(new Series(root)), typing(root);
  for (const root of all("[data-collection]")) parts.push(new Collection(root)), typing(root);
  form.addEventListener("change", refresh);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden") hiddenSince = Date.now();
    else {
      for (const part of parts) part.back?.(hiddenSince ?? Date.now());
      hiddenSince = null;
      stayAwakeIfRunning();
      refresh();
    }
  });
  if (parts.length) setInterval(refresh, TICK_MS);
  // After a reload: what fell due since the form was last touched on this phone.
  for (const part of parts) part.back?.(record().seenAt ?? Date.now());
  refresh();
}

const stayAwakeIfRunning = () => Object.keys(record().clocks).length && stayAwake();

// A timed series: one tap for each value, what is due, late or missed, and whether it has settled.

import { addRow, clock, element, field, rowsOf, run, say, set, text } from "./page.js";
import { isOpen } from "./asked.js";
import * as live from "./live.js";
import { buzz, pumpOn, refresh, sincePump } from "./timed.js";
import { changed } from "./sender.js";
import { parseDecimal, shown, UNITS } from "./rules.js";

export class Series {
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
    const onward = () => (isOpen(this.step) ? "A question about it is open: read again, or say why it stands." : "The next step may begin.");
    if (found?.settled) words = `Settled at ${clock(Number(found.elapsed_s))}: ${shown(found.value, unit)}. ${onward()}`;
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
    const { readings, missed } = live.course(this.step, Math.max(0, ...good.map((row) => Number(row.at))));
    const lines = rows.map((row) => {
      const place = good.indexOf(row);
      const timing = readings[place];
      const off = ["late", "early"].includes(timing?.mark) ? `${timing.mark} by ${clock(Math.abs(Number(timing.off_s)))}` : "";
      const mark = place < 0 ? row.why || "no time" : (found?.marks[place] ?? "");
      return { at: row.at, typed: row.typed, mark: [mark, off].filter(Boolean).join(", ") };
    });
    for (const at of missed) lines.push({ at, typed: "–", mark: "missed" });
    lines.sort((a, b) => Number(a.at) - Number(b.at));
    this.at("marks").replaceChildren(
      ...lines.map(({ at, typed, mark }) => {
        const line = element("li");
        line.append(element("b", at === null ? "?" : clock(Number(at))), element("span", typed), element("em", mark));
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

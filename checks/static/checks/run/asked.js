// The question about an implausible reading: asked here at once, without a network too; the server decides.
// What was read first is kept in hidden fields of the form, 'typed' or '1:00 typed; 2:00 typed'.

import { all, clock, field, form, rowsOf, run, say, text } from "./page.js";
import * as live from "./live.js";
import { setClock } from "./sender.js";
import { ask, expectedAt, readingWords, temperatureWords, UNITS } from "./rules.js";

const first = (step) => text(`first-${step}-read`);
const reason = (step) => text(`first-${step}-reason`).trim();
const isSeries = (step) => run.steps[step].kind === "timed_series";
const shared = (step) => (isSeries(step) ? `series-${step}` : `reading-${step}-0`);
const committed = new Map(); // step -> {kept, rows}: what stood there when its question was shown
let theirs = new Map(); // what the server asks and this phone does not, until something is typed

/** What is asked: step -> words; what was read again is not asked once more. */
export function questions() {
  const found = new Map();
  const read = [];
  for (const [step, { expect }] of Object.entries(run.steps)) {
    const value = expect ? live.taken(step) : null;
    const at = live.temperature(step);
    if (value !== null && at) read.push({ step, at, value, follows: expect.follows, expected: expectedAt(expect.rows, at.value) });
  }
  const asked = ask(read);
  for (const one of asked.readings.map((n) => read[n]))
    if (!first(one.step)) found.set(one.step, readingWords(one, live.unitOf(one.step)));
  const thermometer = asked.together.length ? read[asked.together[0]].at : null;
  if (thermometer && !first(thermometer.step))
    found.set(thermometer.step, temperatureWords(asked.together.length, asked.direction, thermometer.value));
  return found;
}

/** Whether a question stands at a step without an answer. */
export const isOpen = (step) => !reason(step) && (questions().has(step) || theirs.has(step));

/** Show each question at its step, and what was read first. */
function show() {
  const asked = new Map([...questions(), ...theirs]);
  for (const block of all("[data-asks]")) {
    const step = block.dataset.asks;
    const words = asked.get(step) ?? "";
    const open = Boolean(words) && !reason(step);
    const isNew = open && !block.classList.contains("open");
    block.hidden = !words && !(reason(step) && !first(step));
    block.classList.toggle("open", open);
    const line = block.querySelector("[data-words]");
    line.closest("p").hidden = !words;
    if (words) say(line, words[0].toUpperCase() + words.slice(1));
    const note = form.querySelector(`[data-first="${step}"]`);
    note.hidden = !first(step);
    const unit = UNITS[text(`first-${step}-unit`)]?.label ?? "";
    say(note.querySelector("span"), `${first(step).replaceAll(";", ",")} ${unit}`);
    // One step a screen: the question may stand below what is seen.
    if (isNew && document.body.matches(".running")) block.scrollIntoView({ block: "center" });
    if (words) committed.set(step, { kept: standing(step), rows: rowsOf(step).map((one) => [one.name, one.value.trim()]) });
  }
}

/** What is typed at a step, as it is kept. */
function standing(step) {
  const timed = run.steps[step].kind !== "measure";
  const read = rowsOf(step)
    .filter((one) => one.value.trim())
    .map((one) => `${timed ? `${text(one.name.replace(/typed$/, "elapsed"))} ` : ""}${one.value.trim()}`)
    .join("; ");
  return { read, unit: text(`${shared(step)}-unit`), instrument: text(`${shared(step)}-instrument`) };
}

function keepFirst(step, kept) {
  if (first(step) || !kept.read) return;
  for (const [part, value] of Object.entries(kept)) field(`first-${step}-${part}`).value = value;
}

/** Keep what was read, and make room for the repeat. */
async function again(step) {
  keepFirst(step, standing(step));
  const rows = rowsOf(step);
  rows.forEach((one, number) => {
    one.value = "";
    if (isSeries(step)) field(`reading-${step}-${number}-elapsed`).value = clock(number * run.steps[step].cadence);
  });
  if (isSeries(step)) await setClock(`pump-${step}`, null);
  rows[0].dispatchEvent(new Event("change", { bubbles: true }));
  const where = isSeries(step) ? form.querySelector(`[data-series="${step}"] [data-pump]`) : rows[0];
  where?.focus();
}

/**
 * Another value typed over one that is asked about, or a row of a series that is left out: what stood there is kept
 * all the same. Rows added to a series change nothing of it.
 */
function typedOver({ target }) {
  const step = /^reading-(\d+)-\d+-typed$/.exec(target.name ?? "")?.[1];
  const asked = committed.get(step);
  const read = asked && (target.value.trim() || live.taken(step) !== null);
  if (!read || asked.rows.every(([name, was]) => !was || text(name).trim() === was)) return;
  keepFirst(step, asked.kept);
  committed.delete(step);
}

/**
 * Where the server asks otherwise than this phone: [words for the person]; what it asks is shown. problems: what
 * it could not keep; of a step that it could not read it says nothing.
 */
export function serverAsks(asked, problems) {
  const unread = (step) => problems.some((one) => one.field.startsWith(`reading-${step}-`) || one.field.startsWith(`series-${step}-`));
  const mine = new Map([...questions()].filter(([step]) => !reason(step)));
  theirs = new Map(Object.entries(asked).filter(([step]) => !mine.has(step)));
  show();
  const place = (step) => `step ${run.steps[step].number}`;
  return [
    ...[...theirs].map(([step, words]) => `${place(step)}: the server asks, this phone does not: ${words}`),
    ...[...mine.keys()].filter((step) => !(step in asked) && !unread(step)).map((step) => `${place(step)}: this phone asks, the server does not`),
  ];
}

export function begin() {
  form.addEventListener("change", (event) => {
    theirs = new Map();
    typedOver(event);
    show();
  });
  for (const button of all("[data-read-again]"))
    button.addEventListener("click", (event) => {
      event.preventDefault();
      again(button.closest("[data-asks]").dataset.asks);
    });
  show();
}

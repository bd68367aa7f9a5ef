// What the readings mean, reckoned on the phone by the engine's own rules. The server decides.

import { field, rowsOf, run, seconds, text } from "./page.js";
import * as rules from "./rules.js";

const stepsOf = (kind) => Object.entries(run.steps).filter(([, step]) => step.kind === kind);
const typed = (words) => rules.parseDecimal(words ?? "");

/** The canonical value of a field in a unit, or null; why: what is wrong with the text. */
export function value(name, unit) {
  const { value: number, reason, key } = typed(text(name));
  return number === null ? { value: null, why: key === "empty" ? "" : reason } : { value: rules.toCanonical(number, unit) };
}

/** The readings of a timed series: samples in order of the rows, unit, resolution of the gauge (or null). */
export function series(step) {
  const unit = text(`series-${step}-unit`);
  const samples = [];
  const rows = [];
  for (const one of rowsOf(step)) {
    const number = one.name.split("-")[2];
    const { value: number_, why } = value(one.name, unit);
    const at = seconds(text(`reading-${step}-${number}-elapsed`));
    if (number_ === null && !why) continue;
    rows.push({ number: Number(number), typed: one.value, at, why });
    if (number_ !== null && at !== null) samples.push({ elapsed_s: at, value: number_ });
  }
  const gauge = text(`series-${step}-instrument`);
  return { samples, rows, unit, resolution: gauge ? (run.resolution[gauge] ?? null) : null };
}

/** What settling makes of a series; null without a reading or a gauge. */
export function settled(step) {
  const { samples, resolution } = series(step);
  if (!samples.length || resolution === null) return null;
  return rules.settle(samples, { cadence_s: run.steps[step].cadence, resolution });
}

export function ceiling(step) {
  const known = run.steps[step];
  if (known.ceiling === null) return null;
  const { samples, unit } = series(step);
  return rules.ceiling(samples, { after_s: known.after, limit: known.ceiling, unit });
}

export const course = (step, now_s) =>
  rules.course(series(step).samples, { now_s: now_s.toFixed(1), cadence_s: run.steps[step].cadence });

/** The pressure that a collection waits for: null where the procedure has no series. */
export function pressure() {
  const found = stepsOf("timed_series").at(-1);
  return found ? { step: found[0], settled: settled(found[0]) } : null;
}

/** The fluid temperatures that are read, in order of the steps: [{step, number, value}]. */
function temperatures() {
  if (field("temperature_from_memory")?.checked) return [];
  return stepsOf("measure")
    .filter(([, step]) => step.quantity === "temperature")
    .map(([step, { number }]) => ({ step, number, value: value(`reading-${step}-0-typed`, text(`reading-${step}-0-unit`)).value }))
    .filter((one) => one.value !== null)
    .sort((a, b) => a.number - b.number);
}

/** The fluid temperature read last before a step, else the first one after it: {step, number, value} or null. */
export function temperature(step) {
  const read = temperatures();
  return read.findLast((one) => one.number < run.steps[step].number) ?? read[0] ?? null;
}

/** Those that hold for a step's value, as the engine takes them: two around a timed collection. */
function holding(step) {
  const { kind, number } = run.steps[step];
  const before = temperature(step);
  const after = kind === "timed_collection" ? temperatures().find((one) => one.number > number) : null;
  return [before, after].filter((one, n) => one && !(n && one.step === before.step)).map((one) => one.value);
}

/** The unit in which a step's value is said; a collected flow in that of its point. */
export function unitOf(step) {
  const { kind, expect, canonical } = run.steps[step];
  if (kind === "timed_collection") return expect?.unit ?? canonical;
  return text(kind === "timed_series" ? `series-${step}-unit` : `reading-${step}-0-unit`);
}

/** The canonical value that a step has come to: settled, collected or single; null where there is none yet. */
export function taken(step) {
  try {
    if (run.steps[step].kind === "timed_series") {
      const found = settled(step);
      return found?.settled ? found.value : null;
    }
    const amount = value(`reading-${step}-0-typed`, text(`reading-${step}-0-unit`)).value;
    if (run.steps[step].kind === "measure" || amount === null) return amount;
    const length = seconds(text(`reading-${step}-0-elapsed`));
    return length === null || Number(length) === 0 ? null : rules.collectedFlow(amount, length);
  } catch (error) {
    if (error instanceof rules.Refusal) return null;
    throw error;
  }
}

const notValid = (reason) => ({ outcome: "not valid", reason });

function against(step, amount, unit) {
  const { table } = run.steps[step];
  if (!table) return null;
  const at = holding(step);
  if (!at.length) return notValid("no measured fluid temperature");
  return rules.strictest(at.map((t) => atOne(table, t, amount, unit)));
}

function atOne(table, t, amount, unit) {
  const limit = rules.limitAt(table, t);
  if (!limit.served) return notValid(limit.reason);
  const { low, reason } = rules.tooLow(amount);
  return low ? notValid(reason) : rules.judge(amount, limit, { unit });
}

function ofSeries(step) {
  const { samples, unit } = series(step);
  if (!samples.length) return null;
  const top = ceiling(step);
  if (top?.breached) return { outcome: "over limit", reason: `ceiling: ${top.reason}` };
  const found = settled(step);
  if (!found?.settled) return notValid(found ? found.reason : "no gauge is chosen");
  if (top && !top.judged) return notValid(`ceiling: ${top.reason}`);
  return against(step, found.value, unit) ?? { outcome: "within limit", reason: `ceiling: ${top.reason}` };
}

function ofCollection(step) {
  const volume = value(`reading-${step}-0-typed`, text(`reading-${step}-0-unit`)).value;
  const taken = seconds(text(`reading-${step}-0-elapsed`));
  if (volume === null || taken === null || Number(taken) === 0) return null;
  const waits = pressure();
  if (waits) {
    const faults = rules.collectionFaults({
      required_s: run.steps[step].duration, taken_s: taken, tolerance_s: run.steps[step].tolerance,
      started_s: seconds(text(`reading-${step}-0-started`)), pressure: waits.settled,
    });
    if (faults.length) return notValid(faults.join("; "));
  }
  return against(step, rules.collectedFlow(volume, taken), run.steps[step].canonical);
}

function ofSingle(step) {
  const unit = text(`reading-${step}-0-unit`);
  const amount = value(`reading-${step}-0-typed`, unit).value;
  return amount === null ? null : against(step, amount, unit);
}

/** {outcome, reason} of the point that a step reads, or null where there is nothing to say yet. */
export function ofStep(step) {
  const { kind, point } = run.steps[step];
  if (!point) return null;
  try {
    return { timed_series: ofSeries, timed_collection: ofCollection, measure: ofSingle }[kind](step);
  } catch (error) {
    if (error instanceof rules.Refusal) return notValid(error.message);
    throw error;
  }
}

/**
 * Where the server's outcome of a point is not this phone's: [{number, phone, server}]. What only the server can
 * know (borderline by the gauge's papers) is no difference.
 */
export function differences(points) {
  const alike = (outcome) => (outcome === "borderline" ? "within limit" : outcome === "under limit" ? "over limit" : outcome);
  return Object.keys(run.steps)
    .map((step) => ({ number: run.steps[step].number, phone: run.steps[step].point && ofStep(step)?.outcome, server: points[run.steps[step].point] }))
    .filter(({ phone, server }) => phone && server && alike(phone) !== alike(server));
}

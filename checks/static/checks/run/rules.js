// The rules that must run on a phone without a network: the same as checks/engine, word for word.
// Both are held to tests/reference/vectors/run_rules.json. The server decides; this only shows it early.
//
// Every number goes in and comes out as decimal text (whole numbers may be numbers). Canonical units and the
// names in the data are the engine's: kPa gauge, mL/min, mL, Cel, s. No state, no clock, no page, no network.

import {
  CANONICAL_PLACES, Refusal, ZERO,
  absolute, compare, dec, least, maybe, minus, most, over, plain, plus, say, short, text, textOrNull, times,
} from "./numbers.js";

export {
  CANONICAL_PLACES, Refusal, UNITS, collectedFlow, differenceFromCanonical, differenceToCanonical,
  fromCanonical, parseDecimal, plain, shown, toCanonical,
} from "./numbers.js";
export { ask, expectedAt, readingWords, temperatureWords } from "./expected.js";

// --- Series: samples are [{elapsed_s, value}], seconds after the pump started --------------------------------

export const MARKS = {
  timeZero: "time zero",
  counted: "counted",
  newRun: "starts a new run (off cadence)",
  settled: "settled here",
  after: "after settling",
  departs: "after settling, departs",
  notJudged: "not judged",
};
const ROUNDING = { n: 2n, p: CANONICAL_PLACES }; // psi brought to kPa carries the rounding of the grid

const read = (samples) => samples.map((s) => ({ at: dec(s.elapsed_s), value: dec(s.value) }));

function orderFault(series) {
  if (series.length && series[0].at.n < 0n)
    return "a reading lies before the start of the pump; correct its time";
  for (let i = 1; i < series.length; i += 1)
    if (compare(series[i].at, series[i - 1].at) <= 0) {
      const [late, early] = [short(series[i - 1].at), short(series[i].at)];
      return `the reading at ${early} s follows one at ${late} s; correct the times`;
    }
  return null;
}

const spreadOf = (values) => minus(most(values), least(values));

function notSettled(run, needed, resolution) {
  if (run.length < needed)
    return `not settled: ${needed} readings in a row must agree, the present run has ${run.length}`;
  const allowed = `half the resolution, ${short(over(resolution, dec(2), resolution.p + 1))}`;
  const spread = short(spreadOf(run.slice(-needed)));
  return `not settled: the last ${needed} readings differ by ${spread}, more than ${allowed}`;
}

/**
 * The first reading at which `needed` values in a row agree: max - min <= resolution / 2. A value at time zero
 * does not count; more than tolerance_s off cadence (from the reading before) starts a new run.
 * -> {settled, value, index, elapsed_s, marks: one of MARKS for each sample, reason}
 */
export function settle(samples, { cadence_s = 60, resolution, tolerance_s = 10, needed = 3 }) {
  const [cadence, tolerance, step] = [dec(cadence_s), dec(tolerance_s), dec(resolution)];
  if (step.n <= 0n || cadence.n <= 0n || tolerance.n < 0n || needed < 2)
    throw new Refusal("resolution and cadence must be more than 0, tolerance not negative, needed at least 2");
  const series = read(samples);
  const open = (marks, reason) => ({ settled: false, value: null, index: null, elapsed_s: null, marks, reason });
  const fault = orderFault(series);
  if (fault) return open(series.map(() => MARKS.notJudged), fault);
  const half = plus(over(step, dec(2), step.p + 1), ROUNDING);
  const marks = [];
  let run = [];
  for (const [index, sample] of series.entries()) {
    if (sample.at.n === 0n) {
      marks.push(MARKS.timeZero);
      continue;
    }
    const gap = minus(sample.at, index ? series[index - 1].at : ZERO);
    const broken = run.length > 0 && compare(absolute(minus(gap, cadence)), tolerance) > 0;
    run = broken ? [sample.value] : [...run, sample.value];
    marks.push(broken ? MARKS.newRun : MARKS.counted);
    if (run.length < needed || compare(spreadOf(run.slice(-needed)), half) > 0) continue;
    marks[index] = MARKS.settled;
    for (const later of series.slice(index + 1))
      marks.push(compare(absolute(minus(later.value, sample.value)), half) <= 0 ? MARKS.after : MARKS.departs);
    let reason = `${needed} readings in a row agree at ${short(sample.at)} s`;
    if (marks.includes(MARKS.departs)) reason += "; a later reading departs from them";
    return { settled: true, value: text(sample.value), index, elapsed_s: text(sample.at), marks, reason };
  }
  return open(marks, notSettled(run, needed, step));
}

/**
 * The first reading at or past after_s and every later one against a limit (above is a breach).
 * -> {judged, breached, first_breach: sample or null, looked_at: samples, reason}
 */
export function ceiling(samples, { after_s, limit, unit: code = null }) {
  const [after, bound] = [dec(after_s), dec(limit)];
  const looked = read(samples)
    .sort((a, b) => compare(a.at, b.at))
    .filter((s) => compare(s.at, after) >= 0);
  const out = (s) => ({ elapsed_s: text(s.at), value: text(s.value) });
  const first = looked.find((s) => compare(s.value, bound) > 0);
  let reason = `no reading at or past ${short(after)} s: not judged`;
  if (first) reason = `${say(first.value, code)} at ${short(first.at)} s is above ${say(bound, code)}`;
  else if (looked.length) reason = `no reading from ${short(looked[0].at)} s on is above ${say(bound, code)}`;
  return {
    judged: looked.length > 0,
    breached: Boolean(first),
    first_breach: first ? out(first) : null,
    looked_at: looked.map(out),
    reason,
  };
}

function turnOf(gap, cadence, tolerance) {
  if (compare(absolute(minus(gap, cadence)), tolerance) <= 0) return 1n;
  const turn = over(plus(gap, tolerance), cadence, 0, "floor").n;
  return turn < 1n ? 1n : turn;
}

/**
 * Which readings came in time, which late, which never: the series now_s seconds after the pump started.
 * -> {readings: [{elapsed_s, due_s, off_s, mark: 'time zero'|'on time'|'early'|'late'}], missed: [due_s],
 *     next_s, state: 'waiting'|'due now'|'overdue'}; 'not judged' and nulls where the times are out of order.
 */
export function course(samples, { now_s, cadence_s = 60, tolerance_s = 10 }) {
  const [now, cadence, tolerance] = [dec(now_s), dec(cadence_s), dec(tolerance_s)];
  if (cadence.n <= 0n || tolerance.n < 0n) throw new Refusal("cadence must be more than 0, tolerance not negative");
  const series = read(samples);
  if (orderFault(series)) {
    const unknown = { due_s: null, off_s: null, mark: MARKS.notJudged };
    const readings = series.map((s) => ({ elapsed_s: text(s.at), ...unknown }));
    return { readings, missed: [], next_s: null, state: MARKS.notJudged };
  }
  const missed = [];
  const timing = (before, moment) => {
    const turn = turnOf(minus(moment, before), cadence, tolerance);
    const dueAt = (k) => plus(before, times({ n: k, p: 0 }, cadence));
    for (let k = 1n; k < turn; k += 1n) missed.push(text(dueAt(k)));
    const off = minus(moment, dueAt(turn));
    const mark = compare(absolute(off), tolerance) <= 0 ? "on time" : off.n < 0n ? "early" : "late";
    return { elapsed_s: text(moment), due_s: text(dueAt(turn)), off_s: text(off), mark };
  };
  let before = ZERO;
  const readings = series.map((sample) => {
    const from = before;
    before = sample.at;
    if (sample.at.n !== 0n) return timing(from, sample.at);
    return { elapsed_s: text(sample.at), due_s: text(sample.at), off_s: "0", mark: MARKS.timeZero };
  });
  const next = timing(before, now);
  const state = { early: "waiting", "on time": "due now", late: "overdue" }[next.mark];
  return { readings, missed, next_s: next.due_s, state };
}

/** What is wrong with a timed collection, in words; pressure: what settle gave for its series, or null. */
export function collectionFaults({ required_s, taken_s, tolerance_s, started_s = null, pressure = null }) {
  const [asked, taken, tolerance] = [dec(required_s), dec(taken_s), dec(tolerance_s)];
  const faults = [];
  if (compare(absolute(minus(taken, asked)), tolerance) > 0)
    faults.push(`collected for ${short(taken)} s, asked for are ${short(asked)} s (± ${short(tolerance)} s)`);
  if (!pressure?.settled || pressure.elapsed_s === null)
    faults.push("collected although the pressure had not settled");
  else if (started_s === null) faults.push("the start of the collection was not recorded");
  else if (compare(dec(started_s), dec(pressure.elapsed_s)) < 0)
    faults.push(
      `collected from ${plain(started_s)} s, before the pressure settled at ${plain(pressure.elapsed_s)} s`,
    );
  return faults;
}

// --- Limits: table {kind, rule, rows: [{temperature, lower, upper}]}, canonical --------------------------------

const KINDS = ["upper", "lower", "both"];
const RULES = ["stricter_row", "linear", "rows_only"];

function rowFaults(row, kind) {
  const where = `row ${short(row.t)} °C`;
  const faults = [];
  for (const [side, other] of [["upper", "lower"], ["lower", "upper"]]) {
    if ([side, "both"].includes(kind) && row[side] === null) faults.push(`${where} has no ${side} limit`);
    if (kind === other && row[side] !== null)
      faults.push(`${where} has a ${side} limit, but the table is for ${other} limits only`);
  }
  if (row.lower && row.upper && compare(row.lower, row.upper) >= 0)
    faults.push(`${where}: lower limit ${short(row.lower)} is not below upper limit ${short(row.upper)}`);
  return faults;
}

function tableFaults({ kind, rule }, rows) {
  const faults = [];
  if (!KINDS.includes(kind)) faults.push(`kind '${kind}' is not known; use ${KINDS.join(", ")}`);
  if (!RULES.includes(rule)) faults.push(`reading rule '${rule}' is not known; use ${RULES.join(", ")}`);
  if (!rows.length) faults.push("it has no rows");
  rows.slice(1).forEach((row, i) => {
    if (compare(row.t, rows[i].t) === 0) faults.push(`two rows for ${short(rows[i].t)} °C`);
  });
  return [...faults, ...rows.flatMap((row) => rowFaults(row, kind))];
}

/** The limit of one side between two rows: the stricter row, or a straight line rounded to the strict side. */
function between(a, b, t, side, rule) {
  if (a[side] === null || b[side] === null) return null;
  const upper = side === "upper";
  const strict = upper ? least([a[side], b[side]]) : most([a[side], b[side]]);
  if (rule !== "linear") return strict;
  const run = minus(b.t, a.t);
  const above = plus(times(a[side], run), times(minus(b[side], a[side]), minus(t, a.t)));
  const line = over(above, run, CANONICAL_PLACES, upper ? "floor" : "ceiling");
  return upper ? most([strict, line]) : least([strict, line]);
}

/**
 * The limits at a fluid temperature (Cel), never outside the table.
 * -> {served: true, lower, upper, temperature, note} or {served: false, reason}
 */
export function limitAt(table, temperature) {
  const t = dec(temperature);
  const { kind = "upper", rule = "stricter_row" } = table;
  const rows = table.rows
    .map((row) => ({ t: dec(row.temperature), lower: maybe(row.lower), upper: maybe(row.upper) }))
    .sort((a, b) => compare(a.t, b.t));
  const faults = tableFaults({ kind, rule }, rows);
  if (faults.length) return { served: false, reason: `the limit table cannot be used: ${faults.join("; ")}` };
  const serve = (lower, upper, note) => ({
    served: true,
    lower: textOrNull(lower),
    upper: textOrNull(upper),
    temperature: text(t),
    note,
  });
  const row = rows.find((r) => compare(r.t, t) === 0);
  if (row) return serve(row.lower, row.upper, `row ${short(t)} °C`);
  const b = rows.findIndex((r) => compare(r.t, t) > 0);
  if (rule === "rows_only" || b < 1) {
    const all = rows.map((r) => short(r.t));
    const only = rule === "rows_only" || all.length === 1;
    const serving = only ? `of ${all.join(", ")} °C only` : `from ${all[0]} to ${all.at(-1)} °C`;
    return { served: false, reason: `no limit at ${short(t)} °C: the table serves fluid temperatures ${serving}` };
  }
  const [lower, upper] = ["lower", "upper"].map((side) => between(rows[b - 1], rows[b], t, side, rule));
  const how = rule === "linear" ? "straight line between" : "stricter of";
  return serve(lower, upper, `${how} rows ${short(rows[b - 1].t)} and ${short(rows[b].t)} °C`);
}

/**
 * A canonical value beside its limits (what limitAt served). Over is over, under is under; U, the expanded
 * uncertainty, only marks what lies close. -> {outcome, margin, limit, side, uncertainty, reason}
 */
export function judge(value, limit, { U = "0", unit: code = null } = {}) {
  const [v, u] = [dec(value), dec(U)];
  if (u.n < 0n) throw new Refusal("an uncertainty cannot be negative");
  const [upper, lower] = [maybe(limit.upper), maybe(limit.lower)];
  const sides = [];
  if (upper) sides.push({ margin: minus(upper, v), bound: upper, side: "upper" });
  if (lower) sides.push({ margin: minus(v, lower), bound: lower, side: "lower" });
  if (!sides.length) throw new Refusal("there is no limit to compare with");
  const { margin, bound, side } = sides.reduce((a, b) => (compare(b.margin, a.margin) < 0 ? b : a));
  const by = say(absolute(margin), code, true);
  let [outcome, end] = ["within limit", `inside by ${by}`];
  if (margin.n < 0n) [outcome, end] = [side === "upper" ? "over limit" : "under limit", `outside by ${by}`];
  else if (compare(margin, u) < 0)
    [outcome, end] = ["borderline", `${end}, closer than the uncertainty ${say(u, code, true)}`];
  const where = `${side} limit ${say(bound, code)} at ${plain(limit.temperature)} °C`;
  const reason = `${say(v, code)} against ${where}: ${end}`;
  return { outcome, margin: text(margin), limit: text(bound), side, uncertainty: text(u), reason };
}

const BY_WEIGHT = ["over limit", "not valid", "borderline", "within limit"];

/** Of outcomes of one value, as at two fluid temperatures: the heaviest, then of the smallest margin, then the first. */
export function strictest(outcomes) {
  const weight = ({ outcome }) => BY_WEIGHT.indexOf(outcome === "under limit" ? "over limit" : outcome);
  const lighter = (a, b) => {
    if (weight(a) !== weight(b)) return weight(a) > weight(b);
    return a.margin !== undefined && b.margin !== undefined && compare(dec(b.margin), dec(a.margin)) < 0;
  };
  return outcomes.reduce((a, b) => (lighter(a, b) ? b : a));
}

/**
 * Whether a value without a lower limit is too low to be believed: a dead pump would pass every upper limit.
 * baseline (else nominal) times compensation is what is expected, share the part of it that must be reached.
 * -> {low, reason}
 */
export function tooLow(value, { baseline = null, nominal = null, compensation = "1", share = "0.5" } = {}) {
  const v = dec(value);
  if (v.n <= 0n) return { low: true, reason: "nothing was measured: is the pump running?" };
  const reference = maybe(baseline) ?? maybe(nominal);
  if (reference === null) {
    const reason = "too low was not judged: this aircraft has no baseline yet and the point no nominal value";
    return { low: false, reason };
  }
  const expected = times(reference, dec(compensation));
  if (compare(v, times(expected, dec(share))) >= 0) return { low: false, reason: "" };
  const name = baseline === null ? "the nominal value of this point" : "the baseline of this aircraft";
  const percent = short(over(times(v, dec(100)), expected, 1));
  const reached = short(times(dec(share), dec(100)));
  return { low: true, reason: `too low: ${percent} % of ${name} at this temperature, under ${reached} %` };
}

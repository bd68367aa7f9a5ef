// What a reading should be, and what to ask where it is not: checks/engine/entry.py for the browser, held to
// the same vectors. Rows [{temperature, low, middle, high}] in canonical units; numbers are decimal text.

import { CANONICAL_PLACES, UNITS, absolute, compare, dec, fromCanonical, minus, over, plain, plus, short, text, times } from "./numbers.js";

const DIGITS = 3;
const MOST_PLACES = 5;
const SIDES = ["low", "middle", "high"];

/** What is expected at a temperature: a straight line between two rows; null beyond them. */
export function expectedAt(rows, temperature) {
  const t = dec(temperature);
  const ordered = rows.map((row) => ({ row, t: dec(row.temperature) })).sort((a, b) => compare(a.t, b.t));
  const exact = ordered.find((one) => compare(one.t, t) === 0);
  if (exact) return { ...exact.row };
  const above = ordered.findIndex((one) => compare(one.t, t) > 0);
  if (above < 1) return null;
  const [a, b] = [ordered[above - 1], ordered[above]];
  const run = minus(b.t, a.t);
  const found = { temperature: text(t) };
  for (const side of SIDES) {
    const [from, to] = [dec(a.row[side]), dec(b.row[side])];
    const part = plus(times(from, run), times(minus(to, from), minus(t, a.t)));
    found[side] = text(over(part, run, CANONICAL_PLACES));
  }
  return found;
}

const outside = ({ value, expected: e }) => e !== null && (compare(dec(value), dec(e.low)) < 0 || compare(dec(value), dec(e.high)) > 0);

/** 1: high, -1: low by more than half of what is allowed; 0: neither. */
function strays({ value, expected: e }) {
  if (e === null) return 0;
  const twice = plus(dec(value), dec(value));
  if (compare(twice, plus(dec(e.middle), dec(e.high))) > 0) return 1;
  return compare(twice, plus(dec(e.middle), dec(e.low))) < 0 ? -1 : 0;
}

/**
 * taken: [{value, expected or null, follows}] -> {readings: places to ask about, together: places that stray
 * the same way with the fluid (ask about its temperature once), direction}
 */
export function ask(taken) {
  const places = [...taken.keys()];
  const fluid = places.filter((n) => taken[n].follows && taken[n].expected !== null);
  const ways = new Set(fluid.map((n) => strays(taken[n])));
  const readings = places.filter((n) => outside(taken[n]));
  const [way] = ways;
  if (fluid.length < 2 || ways.size !== 1 || way === 0 || !fluid.some((n) => readings.includes(n))) return { readings, together: [], direction: 0 };
  return { readings: readings.filter((n) => !fluid.includes(n)), together: fluid, direction: way };
}

/** 'expected 92 to 108 kPa at 12 °C on this aircraft; read 131' */
export function readingWords({ value, expected: e }, unit) {
  const [low, high, read] = [e.low, e.high, value].map((one) => dec(fromCanonical(one, unit)));
  const places = placesOf(high);
  const rounded = (number, digits, way) => short(over(number, dec(1), digits, way));
  const least = rounded(low, places, "ceiling");
  const most = rounded(high, places, "floor");
  const shown = rounded(read, Math.min(places + 1, MOST_PLACES), "even");
  return `expected ${least} to ${most} ${UNITS[unit].label} at ${plain(e.temperature)} °C on this aircraft; read ${shown}`;
}

export function temperatureWords(number, direction, temperature) {
  const [way, fluid] = direction > 0 ? ["higher", "colder"] : ["lower", "warmer"];
  return (
    `all ${number} readings that follow the fluid are ${way} than expected at ${plain(temperature)} °C ` +
    `on this aircraft: is the fluid ${fluid} than that?`
  );
}

/** Decimal places that leave three digits of a value. */
function placesOf(value) {
  if (value.n === 0n) return 0;
  const adjusted = String(absolute(value).n).length - 1 - value.p;
  return Math.min(Math.max(DIGITS - 1 - adjusted, 0), MOST_PLACES);
}

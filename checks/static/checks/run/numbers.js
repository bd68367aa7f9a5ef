// Exact decimals, units and the reading of a typed number: what rules.js reckons with; checks/engine/units.py
// for the browser. Inside, a decimal is {n, p}: n / 10 ** p with n a BigInt. Outside it is text ("12.50"), so
// that a reading of 25 psi meets a limit of 25 psi.

export const CANONICAL_PLACES = 6;
const TYPED_PLACES = 5;
const LONGEST_NUMBER = 24;

/** Arguments that make no sense, said in words for people. */
export class Refusal extends Error {}

// --- Decimals ----------------------------------------------------------------------------------------------

export const ZERO = { n: 0n, p: 0 };
const ten = (p) => 10n ** BigInt(p);

export function dec(value) {
  const parts = /^([+-]?)([0-9]+)(?:\.([0-9]+))?$/.exec(String(value));
  if (!parts) throw new Refusal(`${value} is not a decimal text`);
  const [, sign, whole, rest = ""] = parts;
  const n = BigInt(whole + rest);
  return { n: sign === "-" ? -n : n, p: rest.length };
}

export const maybe = (value) => (value === null || value === undefined ? null : dec(value));
const at = (a, p) => a.n * ten(p - a.p);
export const absolute = (a) => ({ n: a.n < 0n ? -a.n : a.n, p: a.p });
export const times = (a, b) => ({ n: a.n * b.n, p: a.p + b.p });

export function plus(a, b) {
  const p = Math.max(a.p, b.p);
  return { n: at(a, p) + at(b, p), p };
}

export const minus = (a, b) => plus(a, { n: -b.n, p: b.p });
export const compare = (a, b) => {
  const { n } = minus(a, b);
  return n < 0n ? -1 : n > 0n ? 1 : 0;
};
export const most = (values) => values.reduce((a, b) => (compare(b, a) > 0 ? b : a));
export const least = (values) => values.reduce((a, b) => (compare(b, a) < 0 ? b : a));

/** a / b at so many places; rounding 'even' (half to even), 'floor' or 'ceiling'. */
export function over(a, b, places, rounding = "even") {
  let above = a.n * ten(b.p + places);
  let below = b.n * ten(a.p);
  if (below < 0n) [above, below] = [-above, -below];
  let n = above / below;
  if (n * below > above) n -= 1n; // BigInt cuts towards zero; from here on n is the floor
  const rest = above - n * below;
  const twice = 2n * rest;
  const nearer = twice > below || (twice === below && n % 2n !== 0n);
  if (rounding === "ceiling" ? rest > 0n : rounding === "even" && nearer) n += 1n;
  return { n, p: places };
}

export function text({ n, p }) {
  const digits = String(n < 0n ? -n : n).padStart(p + 1, "0");
  const cut = digits.length - p;
  return (n < 0n ? "-" : "") + digits.slice(0, cut) + (p ? `.${digits.slice(cut)}` : "");
}

export const textOrNull = (a) => (a === null ? null : text(a));

export function short(a) {
  const full = text(a);
  return full.includes(".") ? full.replace(/\.?0+$/, "") : full;
}

/** A number for a sentence: no trailing zeros. */
export const plain = (value) => short(dec(value));

// --- Units -------------------------------------------------------------------------------------------------

const unit = (quantity, label, by = "1", per = "1", zero = "0") => ({ quantity, label, times: by, over: per, zero });
const GALLON_ML = "3785.411784";
const OUNCE_ML = "29.5735295625";

/** By UCUM code: canonical value = (value - zero) * times / over. Exact definitions (NIST SP 811 B.8). */
export const UNITS = {
  kPa: unit("pressure", "kPa"),
  bar: unit("pressure", "bar", "100"),
  "[psi]": unit("pressure", "psi", "4.4482216152605", "0.64516"),
  "mL/min": unit("flow", "mL/min"),
  "L/min": unit("flow", "L/min", "1000"),
  "L/h": unit("flow", "L/h", "1000", "60"),
  "[foz_us]/min": unit("flow", "US fl oz/min", OUNCE_ML),
  "[gal_us]/min": unit("flow", "US gal/min", GALLON_ML),
  "[gal_us]/h": unit("flow", "US gal/h", GALLON_ML, "60"),
  mL: unit("volume", "mL"),
  L: unit("volume", "L", "1000"),
  "[foz_us]": unit("volume", "US fl oz", OUNCE_ML),
  "[gal_us]": unit("volume", "US gal", GALLON_ML),
  Cel: unit("temperature", "°C"),
  "[degF]": unit("temperature", "°F", "5", "9", "32"),
  s: unit("time", "s"),
  min: unit("time", "min", "60"),
  h: unit("time", "h", "3600"),
  V: unit("voltage", "V"),
  "%": unit("ratio", "%"),
};

function unitOf(code) {
  if (!Object.hasOwn(UNITS, code))
    throw new Refusal(`unit '${code}' is not known; known units: ${Object.keys(UNITS).join(", ")}`);
  const { label, ...figures } = UNITS[code];
  return { label, times: dec(figures.times), over: dec(figures.over), zero: dec(figures.zero) };
}

function convert(value, code, { back = false, difference = false } = {}) {
  const u = unitOf(code);
  const zero = difference ? ZERO : u.zero;
  if (!back) return over(times(minus(value, zero), u.times), u.over, CANONICAL_PLACES);
  return over(plus(times(value, u.over), times(zero, u.times)), u.times, TYPED_PLACES);
}

export const toCanonical = (value, code) => text(convert(dec(value), code));
export const fromCanonical = (value, code) => text(convert(dec(value), code, { back: true }));
/** For a resolution, an accuracy, a margin: no shift of zero, so 9 °F is 5 °C. */
export const differenceToCanonical = (value, code) => text(convert(dec(value), code, { difference: true }));
export const differenceFromCanonical = (value, code) =>
  text(convert(dec(value), code, { back: true, difference: true }));

export function say(value, code, difference = false) {
  if (!code) return short(value);
  return `${short(convert(value, code, { back: true, difference }))} ${unitOf(code).label}`;
}

/** A canonical value for a sentence, in a unit with its label; without a unit the bare number. */
export const shown = (value, code = null, { difference = false } = {}) => say(dec(value), code, difference);

/** Flow in mL/min of a timed collection. */
export function collectedFlow(volume_ml, seconds) {
  const [volume, taken] = [dec(volume_ml), dec(seconds)];
  if (taken.n <= 0n) throw new Refusal("the collection time must be more than 0 s");
  if (volume.n < 0n) throw new Refusal("the collected volume cannot be negative");
  return text(over(times(volume, dec(60)), taken, CANONICAL_PLACES));
}

// --- A typed number ----------------------------------------------------------------------------------------

const SPACE = "[\\t-\\r\\x1c-\\x20\\x85\\xa0\\u1680\\u2000-\\u200a\\u2028\\u2029\\u202f\\u205f\\u3000]+";
const ENDS = new RegExp(`^${SPACE}|${SPACE}$`, "g");
const NUMBER = /^[+-]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)$/;
const GROUPED = /^[+-]?[1-9][0-9]{0,2},[0-9]{3}$/;

/**
 * What was typed -> {value: "12.50", key: null, reason: null}, or {value: null, key, reason} where refused.
 * Keys: empty, too_long, two_marks, not_plain, other_mark, ambiguous. decimal_mark: '.' or ',' where declared.
 */
export function parseDecimal(typed, { decimal_mark = null } = {}) {
  const asTyped = typed.replace(ENDS, "");
  const number = asTyped.replaceAll("−", "-");
  const refuse = (key, reason) => ({ value: null, key, reason });
  if (!number) return refuse("empty", "nothing is typed; write a number such as 12.5");
  if ([...number].length > LONGEST_NUMBER)
    return refuse("too_long", `the number is longer than ${LONGEST_NUMBER} characters; write fewer digits`);
  const quoted = `'${asTyped}'`;
  if (number.includes(".") && number.includes(","))
    return refuse("two_marks", `${quoted} holds a point and a comma; write one decimal mark only, as 1234.5`);
  if (!NUMBER.test(number))
    return refuse("not_plain", `${quoted} is not a plain number; write digits with one decimal mark, as 12.5`);
  const other = { ".": ",", ",": "." }[decimal_mark];
  if (other && number.includes(other))
    return refuse(
      "other_mark",
      `${quoted} does not use the declared decimal mark '${decimal_mark}'; write it with that`,
    );
  const pointed = number.replace(",", ".");
  if (decimal_mark === null && GROUPED.test(number)) {
    const whole = number.replace(",", "");
    return refuse("ambiguous", `${quoted} can be read as ${pointed} or as ${whole}; write the one you mean`);
  }
  return { value: text(dec(pointed.replace(/^([+-]?)\./, "$10."))), key: null, reason: null };
}

"""The rules that run in the browser, loaded from where pages load them, against the engine's answers."""

import re
from collections import Counter

import pytest
from django.templatetags.static import static

from checks.engine.settle import AFTER, COUNTED, DEPARTS, NEW_RUN, NOT_JUDGED, SETTLED, TIME_ZERO
from checks.engine.units import UNITS
from tests.engine.run_rules import answer, as_json, cases, differences
from tests.engine.run_rules_random import draw

pytestmark = pytest.mark.parametrize("browser_page", [390], indirect=True, ids=["phone"])
FRESH_SEED, FRESH = 7_301_994, 420  # another seed than that of the frozen ones
CASES = dict(cases())

# Asks rules.js the same questions as tests.engine.run_rules asks the engine.
ASK = """async ([address, cases]) => {
  const R = await import(address);
  const samples = (args) => args.samples.map(([elapsed_s, value]) => ({ elapsed_s, value }));
  const table = ({ unit, rows, ...rest }) => {
    const side = (value) => (value !== null && unit ? R.toCanonical(value, unit) : value);
    return { ...rest, rows: rows.map(([t, l, u]) => ({ temperature: t, lower: side(l), upper: side(u) })) };
  };
  const rowsOf = ({ rows }) =>
    rows.map(([temperature, low, middle, high]) => ({ temperature, low, middle, high }));
  const typed = (text) => {
    const { value, reason } = R.parseDecimal(text);
    if (value === null) throw new R.Refusal(reason);
    return value;
  };
  const ways = {
    to: R.toCanonical,
    from: R.fromCanonical,
    "difference to": R.differenceToCanonical,
    "difference from": R.differenceFromCanonical,
  };
  const rules = {
    parse: (a) => R.parseDecimal(a.typed, a),
    convert: (a) => ({ value: ways[a.way](a.value, a.unit) }),
    "collected flow": (a) => ({ value: R.collectedFlow(a.volume_ml, a.seconds) }),
    settle: (a) => R.settle(samples(a), a),
    ceiling: (a) => R.ceiling(samples(a), a),
    course: (a) => R.course(samples(a), a),
    limit: (a) => R.limitAt(table(a.table), a.temperature),
    judge: (a) => {
      const [lower, upper, temperature] = a.limit;
      return R.judge(a.value, { lower, upper, temperature }, a);
    },
    reading: (a) => {
      const value = R.toCanonical(typed(a.typed), a.unit);
      const temperature = R.toCanonical(typed(a.temperature), a.temperature_unit ?? "Cel");
      const limit = R.limitAt(table(a.table), temperature);
      if (!limit.served) return { outcome: "not valid", reason: limit.reason };
      return R.judge(value, limit, { unit: a.unit });
    },
    strictest: (a) => {
      const { outcome, margin = null } = R.strictest(a.limits.map((limit) => {
        if (!limit) return { outcome: "not valid", reason: "no limit" };
        const [lower, upper, temperature] = limit;
        return R.judge(a.value, { lower, upper, temperature });
      }));
      return { outcome, margin };
    },
    "too low": (a) => R.tooLow(a.value, a),
    collection: (a) => R.collectionFaults(a),
    expected: (a) => R.expectedAt(rowsOf(a), a.temperature),
    ask: (a) => {
      const expected = R.expectedAt(rowsOf(a), a.temperature);
      const read = a.read.map(([value, follows]) => ({ value, follows, expected }));
      const asked = R.ask(read);
      const words = asked.readings.map((n) => R.readingWords(read[n], a.unit));
      const { length } = asked.together;
      if (length) words.push(R.temperatureWords(length, asked.direction, a.temperature));
      return { ...asked, words };
    },
  };
  return cases.map(({ rule, args }) => {
    try {
      return rules[rule](args);
    } catch (error) {
      if (error instanceof R.Refusal) return { refused: error.message };
      return { failed: String(error) };
    }
  });
}"""


@pytest.fixture
def ask(browser_page):
    """Cases -> the browser's answers, on a page under the site's own policy."""
    browser_page.goto("/login/")

    def put(asked: list[dict]) -> list:
        plain = [{"rule": case["rule"], "args": case["args"]} for case in asked]
        return browser_page.evaluate(ASK, [static("checks/run/rules.js"), plain])

    return put


def test_every_vector_has_the_same_answer_in_the_browser(ask):
    given = ask(list(CASES.values()))
    wrong = {
        name: found
        for (name, case), answered in zip(CASES.items(), given, strict=True)
        if (found := differences(case["expect"], answered))
    }
    assert wrong == {}


def test_fresh_random_cases_are_answered_as_the_engine_answers_them(ask):
    asked = draw(FRESH_SEED, FRESH)
    wrong = []
    for case, given in zip(asked, ask(asked), strict=True):
        found = differences(answer(case["rule"], case["args"]), given)
        wrong += [(case, found)] if found else []
    assert wrong == []
    assert min(Counter(case["rule"] for case in asked).values()) >= 30


def test_a_changed_vector_would_be_noticed(ask):
    """The comparison can fail: one vector with one figure changed."""
    case = next(c for c in CASES.values() if c["rule"] == "settle" and c["expect"].get("settled"))
    wrong = {**case["expect"], "index": 99}
    assert differences(wrong, ask([case])[0]) == [f"index: {case['expect']['index']!r} is not 99"]


def test_units_and_marks_are_the_engines(browser_page):
    browser_page.goto("/login/")
    units, marks = browser_page.evaluate(
        "async (address) => { const R = await import(address); return [R.UNITS, Object.values(R.MARKS)]; }",
        static("checks/run/rules.js"),
    )
    fields = ("quantity", "label", "times", "over", "zero")
    assert units == {code: as_json({f: getattr(u, f) for f in fields}) for code, u in UNITS.items()}
    assert list(units) == list(UNITS)
    assert marks == [TIME_ZERO, COUNTED, NEW_RUN, SETTLED, AFTER, DEPARTS, NOT_JUDGED]


def test_a_fraction_that_is_not_text_is_refused(browser_page):
    """0.1 as a binary number is no reading: it would be compared inexactly."""
    browser_page.goto("/login/")
    said = browser_page.evaluate(
        """async (address) => {
          const R = await import(address);
          const attempt = (value) => {
            try { return R.plain(value); } catch (error) { return error.message; }
          };
          return [attempt(60), attempt("0.10"), attempt(1e-7), attempt(NaN), attempt(null)];
        }""",
        static("checks/run/rules.js"),
    )
    assert said[:2] == ["60", "0.1"]
    assert all(re.fullmatch(r".+ is not a decimal text", words) for words in said[2:])

"""Charts: ticks, layout, the two sinks, the ready-made scenes and the plan drawing."""

import re
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.graphics.shapes import Circle, Polygon, String

from checks.charts import layout, ticks
from checks.charts.builders import drift_scene, limit_scene, series_scene, spark_scene
from checks.charts.layout import Dot, Stroke, Words
from checks.charts.plan import Spot, plan
from checks.charts.scene import Axis, Level, Line, Mark, Points, Scene, span
from checks.charts.svg import picture, spark, svg, table
from checks.engine.limits import LimitRow, LimitTable, limit_at
from reports.pdf.chart import drawing

DAYS = [date(2024, 1, 10), date(2024, 6, 2), date(2024, 11, 20), date(2025, 4, 3)]
READ, EVEN = [131.0, 96.5, 140.0, 101.0], [98.0, 104.0, 121.5, 96.0]
RESETS = [(date(2025, 1, 15), "purge")]
DRIFT = drift_scene(DAYS, READ, EVEN, 118, resets=RESETS, label="Left wing <inboard>", unit="kPa")
SERIES = series_scene([(0, 60), (1, 131), (2, 124), (3, 118.2), (4, 118.0), (5, 118.1)], (2, 150), 5)
LIMITS = limit_scene([(0, None, 160), (10, None, 120), (20, None, 90)], "upper", (6.5, 131.5), 3)
SCENES = [DRIFT, SERIES, LIMITS]


def items(scene: Scene, kind: type) -> list:
    return [item for item in scene.items if isinstance(item, kind)]


# --- ticks ----------------------------------------------------------------------------------------
finite = st.floats(-1e6, 1e6)


@given(finite, st.floats(1e-3, 1e6), st.integers(2, 12))
def test_number_ticks_are_round_few_and_inside(low, width, most):
    found = ticks.numbers(low, low + width, most)
    values = [value for value, _ in found]
    assert 1 <= len(found) <= most
    room = 1e-6 * width + 1e-9 * abs(low)
    assert all(low - room <= v <= low + width + room for v in values)
    steps = [b - a for a, b in pairwise(values)]
    assert all(step == pytest.approx(steps[0], rel=1e-3) for step in steps)


@given(st.dates(date(1990, 1, 1), date(2090, 1, 1)), st.integers(1, 9000), st.integers(2, 12))
def test_date_ticks_are_few_inside_and_begin_a_month_on_long_ranges(start, days, most):
    low = start.toordinal()
    found = ticks.dates(low, low + days, most)
    assert len(found) <= most
    assert all(low <= value <= low + days for value, _ in found)
    if days >= 70:
        assert all(date.fromordinal(int(value)).day == 1 for value, _ in found)


def test_ticks_as_a_person_would_choose_them():
    assert [label for _, label in ticks.numbers(83, 187, 6)] == ["100", "120", "140", "160", "180"]
    assert [label for _, label in ticks.numbers(-0.13, 0.31, 5)] == ["−0.1", "0.0", "0.1", "0.2", "0.3"]
    year = ticks.dates(date(2025, 10, 20).toordinal(), date(2026, 5, 3).toordinal(), 8)
    assert [label for _, label in year] == ["Nov\n2025", "Dec", "Jan\n2026", "Feb", "Mar", "Apr", "May"]
    long = ticks.dates(date(2020, 6, 1).toordinal(), date(2026, 6, 1).toordinal(), 7)
    assert [label for _, label in long] == ["2021", "2022", "2023", "2024", "2025", "2026"]


def test_an_axis_without_range_is_refused_and_one_value_gets_a_range():
    with pytest.raises(ValueError, match="needs a range"):
        ticks.numbers(5, 5, 4)
    low, high = span([80.0], Axis("y"), 0.1)
    assert low < 80 < high


# --- layout ---------------------------------------------------------------------------------------
@pytest.mark.parametrize("sheet", [layout.WIDE, layout.NARROW])
@pytest.mark.parametrize("scene", SCENES, ids=["drift", "series", "limits"])
def test_everything_stays_on_the_sheet(scene, sheet):
    for ink in layout.layout(scene, sheet):
        for x, y in getattr(ink, "points", None) or [(ink.x, ink.y)]:
            assert -0.01 <= x <= sheet.width + 0.01
            assert -0.01 <= y <= sheet.height + 0.01


def test_higher_values_lie_higher_and_later_ones_further_right():
    stops = [ink for ink in layout.layout(SERIES) if isinstance(ink, Dot) and ink.readout]
    by_minute = sorted(stops, key=lambda dot: dot.readout)
    assert [dot.x for dot in by_minute] == sorted(dot.x for dot in by_minute)
    assert by_minute[0].y == max(dot.y for dot in stops)


@given(st.lists(st.integers(0, 2000), min_size=1, max_size=12, unique=True))
def test_words_of_marks_never_cover_each_other(offsets):
    start = date(2020, 1, 1).toordinal()
    marks = tuple(Mark(float(start + k), "panel replaced") for k in offsets)
    points = Points(((float(start), 1.0), (float(start + 2000), 2.0)), ("a", "b"))
    scene = Scene("t", "d", Axis("", is_date=True), Axis("y"), (points, *marks))
    words = [i for i in layout.layout(scene) if isinstance(i, Words) and i.kind == "mark-label"]
    assert words
    for k, one in enumerate(words):
        for other in words[k + 1 :]:
            apart = abs(one.x - other.x) >= layout.width_of(one.text) or abs(one.y - other.y) >= layout.TEXT
            assert apart


def test_a_scene_without_readings_says_so():
    assert "No readings yet" in svg(drift_scene([], [], [], 118))
    assert "No readings to show" in table(drift_scene([], [], [], 118))


def test_points_and_readouts_must_pair():
    with pytest.raises(ValueError, match="2 points but 1 readouts"):
        Points(((0, 0), (1, 1)), ("one",))


# --- the page -------------------------------------------------------------------------------------
@pytest.mark.parametrize("scene", SCENES, ids=["drift", "series", "limits"])
def test_svg_is_well_formed_and_fit_for_a_strict_policy(scene):
    drawn = svg(scene)
    root = ElementTree.fromstring(drawn)
    assert root[0].tag == "title"
    assert root[1].tag == "desc"
    for element in root.iter():
        assert element.tag in {"svg", "title", "desc", "g", "path", "circle", "text"}
        assert not {name for name in element.attrib if name == "style" or name.startswith("on")}


def test_typed_text_is_escaped_in_drawing_and_table():
    shown = picture(DRIFT)
    for html in (shown.svg, shown.table):
        assert "Left wing &lt;inboard&gt;" in html
        assert "<inboard>" not in html


def test_one_point_is_reached_with_tab_and_all_say_what_they_show():
    root = ElementTree.fromstring(svg(DRIFT))
    stops = [element for element in root.iter("g") if element.get("class") == "c-stop"]
    assert [stop.get("tabindex") for stop in stops].count("0") == 1
    assert len(stops) == 8
    assert all(stop.get("aria-label") == stop.get("data-readout") == stop[0].text for stop in stops)
    assert "10 Jan 2024: 98 kPa compensated, 131 kPa as read" in [stop.get("data-readout") for stop in stops]


def test_the_table_holds_every_reading_and_reset_in_order():
    cells = re.findall(r"<t[hd][^>]*>([^<]*)</t[hd]>", table(DRIFT))
    assert cells[:4] == ["Date", "As read", "Compensated to 20 °C", "What happened"]
    rows = [cells[k : k + 4] for k in range(4, len(cells), 4)]
    assert rows[0] == ["10 Jan 2024", "131 kPa", "98 kPa", ""]
    assert rows[3] == ["15 Jan 2025", "", "", "purge"]
    assert len(rows) == 5


def test_a_chart_stays_small():
    """The tried size of one drawing was about 19 KB."""
    days = [date(2020, 1, 1) + timedelta(days=60 * k) for k in range(40)]
    many = drift_scene(days, [100.0 + k for k in range(40)], [100.0 + k / 2 for k in range(40)], 150)
    assert len(svg(many)) < 40_000
    assert len(svg(many)) / 80 < 500


# --- paper ----------------------------------------------------------------------------------------
def test_page_and_paper_show_the_same_picture():
    sheet = layout.Sheet(400, 200)
    on_page = ElementTree.fromstring(svg(DRIFT, sheet))
    circles = sorted((float(c.get("cx")), 200 - float(c.get("cy"))) for c in on_page.iter("circle"))
    words = sorted(text.text for text in on_page.iter("text"))
    on_paper = drawing(DRIFT, 400, 200)
    drawn = sorted((c.cx, c.cy) for c in on_paper.contents if isinstance(c, Circle))
    for on_sheet, on_screen in zip(drawn, circles, strict=True):
        assert on_sheet == pytest.approx(on_screen, abs=0.06)
    assert words == sorted(s.text for s in on_paper.contents if isinstance(s, String))
    assert len([p for p in on_paper.contents if isinstance(p, Polygon)]) == 2  # over limit, and its key


# --- drift ----------------------------------------------------------------------------------------
def test_lines_break_at_resets():
    assert [len(line.at) for line in items(DRIFT, Line)] == [3]
    assert items(DRIFT, Mark) == [Mark(float(date(2025, 1, 15).toordinal()), "purge")]
    unbroken = drift_scene(DAYS, READ, EVEN, 118)
    assert [len(line.at) for line in items(unbroken, Line)] == [4]


def test_lives_decide_where_given_and_moments_order_one_day():
    day = [datetime(2025, 1, 15, 9), datetime(2025, 1, 15, 15), datetime(2025, 1, 16)]
    purge = [(datetime(2025, 1, 15, 12), "purge")]
    split = drift_scene(day, [1, 2, 3], [130, 90, 91], 118, resets=purge)
    assert [[y for _, y in line.at] for line in items(split, Line)] == [[90, 91]]
    told = drift_scene(day, [1, 2, 3], [130, 90, 91], 118, resets=purge, lives=[0, 0, 1])
    assert [[y for _, y in line.at] for line in items(told, Line)] == [[130, 90]]


def test_over_limit_has_a_shape_of_its_own_and_the_limit_itself_is_within():
    scene = drift_scene(DAYS, READ, [98, 118, 118.1, None], Decimal("118"))
    found = {
        points.shape: [y for _, y in points.at] for points in items(scene, Points) if points.role != "faint"
    }
    assert found == {"disc": [98, 118], "diamond": [118.1]}


def test_modes_show_what_they_say():
    def labels(mode: str) -> set[str]:
        return {p.label for p in items(drift_scene(DAYS, READ, EVEN, 118, mode=mode), Points)}

    raw = "as read, at its own temperature"
    assert labels("as read") == {raw}
    assert raw not in labels("compensated")
    assert labels("both") == labels("compensated") | {raw}
    assert items(drift_scene(DAYS, READ, EVEN, 118, mode="as read"), Level) == []
    with pytest.raises(ValueError, match="mode is"):
        drift_scene(DAYS, READ, EVEN, 118, mode="raw")
    with pytest.raises(ValueError, match="differ in length"):
        drift_scene(DAYS, READ[:2], EVEN, 118)


def test_the_order_of_entry_does_not_matter():
    turned = drift_scene(DAYS[::-1], READ[::-1], EVEN[::-1], 118, resets=RESETS, label="Left wing <inboard>")
    assert turned == DRIFT


# --- series, limits, spark ------------------------------------------------------------------------
def test_the_settled_run_and_the_ceiling_stand_out():
    settled = next(p for p in items(SERIES, Points) if p.label == "settled run")
    assert [y for _, y in settled.at] == [118.2, 118.0, 118.1]
    assert items(SERIES, Level) == [Level(150, "ceiling 150 kPa", 2)]
    over = series_scene([(1, 200), (2, 180), (3, 172)], (2, 172))
    assert [p.at for p in items(over, Points) if p.role == "act"] == [((2, 180),)]
    assert "not settled, 1 over the ceiling of 172 kPa" in over.description
    assert over.rows[1] == ("2:00 min", "180 kPa", "over the ceiling")


@pytest.mark.parametrize("rule", ["stricter_row", "linear"])
@pytest.mark.parametrize("t", [0, 3, 10, 12.5, 19.9, 20])
def test_the_drawn_limit_is_the_limit_that_decides(rule, t):
    """The course is compared with the engine's own reading of the same table."""
    rows = [(0, 40, 160), (10, 35, 120), (20, 30, 90)]
    stored = LimitTable(tuple(LimitRow(*map(Decimal, row)) for row in rows), "both", rule)
    decides = limit_at(stored, Decimal(str(t)))
    lower, upper = items(limit_scene(rows, "both", None, rule=rule), Line)
    assert float(decides.upper) in [pytest.approx(y, abs=1e-3) for y in course_at(upper, t)]
    assert float(decides.lower) in [pytest.approx(y, abs=1e-3) for y in course_at(lower, t)]


def course_at(line: Line, t: float) -> list[float]:
    """The values of a course at t: one between rows; at a row also the ends of the jumps beside it."""
    here = [y for x, y in line.at if x == t]
    between = [
        y1 + (y2 - y1) * (t - x1) / (x2 - x1) for (x1, y1), (x2, y2) in pairwise(line.at) if x1 < t < x2
    ]
    return here or between


def test_a_table_of_rows_only_draws_no_course():
    assert items(limit_scene([(0, None, 160)], "upper", None, rule="rows_only"), Line) == []
    with pytest.raises(ValueError, match="kind is"):
        limit_scene([], "most", None)


def test_the_bar_of_uncertainty_reaches_u_to_both_sides():
    bar = next(line for line in items(LIMITS, Line) if line.label.startswith("uncertainty"))
    assert [y for _, y in bar.at] == [128.5, 134.5]


def test_a_spark_is_an_image_with_words():
    drawn = spark(spark_scene(DAYS, EVEN, 118, "Left wing"))
    assert 'role="img"' in drawn
    assert "4 readings, the last 96." in drawn
    assert "tabindex" not in drawn
    assert not [
        i for i in layout.layout(spark_scene(DAYS, EVEN)) if isinstance(i, Stroke) and i.kind == "axis"
    ]


# --- plan -----------------------------------------------------------------------------------------
SPOTS = [
    Spot("wing-li", "left wing <inboard>", 0.33, 0.4, 0.18, 0.03, "closing", "/a/1?x=1&y=2"),
    Spot("nozzle", "propeller nozzle", Decimal("0.5"), Decimal("0.04"), Decimal("0.08"), 0.03, "over_limit"),
    Spot("pump", "metering pump", 0.5, 0.04, 0.02, 0.02, "odd one"),
]


def test_a_position_has_number_shape_word_and_link():
    html = str(plan(SPOTS, "Seen from above"))
    root = ElementTree.fromstring(html.replace("\u00a0", " "))
    link = next(e for e in root.iter("a") if e.get("aria-label"))
    assert link.get("aria-label") == "1: left wing <inboard>, closing"
    assert link.get("href") == "/a/1?x=1&y=2"
    assert link.get("class") == "p-act"
    entries = ["".join(entry.itertext()) for entry in root.iter("li")]
    assert entries == [
        "1left wing <inboard> wing-liclosing",
        "2propeller nozzle nozzleover limit",
        "3metering pump pumpodd one",
    ]
    assert "style=" not in html


@given(st.lists(st.tuples(st.floats(-0.2, 1.2), st.floats(-0.2, 1.2)), min_size=2, max_size=16))
def test_tags_stay_on_the_plan_and_apart(places):
    spots = [Spot(str(k), "position", x, y, 0.02, 0.02, "planned") for k, (x, y) in enumerate(places)]
    root = ElementTree.fromstring(str(plan(spots, "t")))
    tags = [r for r in root.iter("rect") if r.get("class") == "p-tag"]
    corners = [(float(tag.get("x")), float(tag.get("y"))) for tag in tags]
    assert all(0 <= x <= 520 - 46 and 0 <= y <= 400 - 24 for x, y in corners)
    for k, (x, y) in enumerate(corners):
        assert all(abs(x - a) >= 46 or abs(y - b) >= 24 for a, b in corners[k + 1 :])

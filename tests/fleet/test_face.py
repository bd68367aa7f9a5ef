"""The shared face: contrast, states, tags, and the partials that every page is built from."""

import datetime as dt
import re
from decimal import Decimal
from pathlib import Path

import pytest
from django import forms
from django.contrib.auth.models import AnonymousUser
from django.template import Context, RequestContext, Template
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.utils import timezone

from checks.views.paging import KeyPage
from fleet import shapes
from fleet.templatetags import face

FLEET = Path(shapes.__file__).parent
CSS = (FLEET / "static/fleet/weepwatch.css").read_text()
TEMPLATES = sorted(FLEET.glob("templates/**/*.html"))


# --- contrast: WCAG 2.2, definitions of "relative luminance" and "contrast ratio" -------------------
# https://www.w3.org/TR/WCAG22/#dfn-relative-luminance (the formula is written from memory)
def luminance(colour: str) -> float:
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def tokens(scheme: str) -> dict[str, str]:
    light, dark = re.findall(r":root \{(.*?)\n\s*\}", CSS, re.S)[:2]
    found = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", light))
    return found if scheme == "light" else found | dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", dark))


TEXT_PAIRS = [
    *[(a, b) for a in ("ink", "soft", "accent", "accent-deep") for b in ("ground", "sheet", "sunk")],
    *[(tone, ground) for tone in ("act", "heed") for ground in ("ground", "sheet")],
    ("act", "act-wash"), ("heed", "heed-wash"), ("ink", "act-wash"), ("ink", "heed-wash"), ("soft", "wash"),
    ("ink", "wash"), ("accent-deep", "wash"), ("act", "wash"), ("heed", "wash"), ("on-accent", "accent"),
    ("on-accent", "accent-deep"), ("plot-limit", "sheet"), ("plot-mark", "sheet"),
]  # fmt: skip
SHAPE_PAIRS = [
    *[(edge, ground) for edge in ("edge", "focus") for ground in ("ground", "sheet")],
    *[(plot, "sheet") for plot in ("plot", "plot-faint", "plot-limit", "plot-mark")],
    ("plot", "plot-band"), ("plot-limit", "plot-band"), ("accent", "sheet"), ("edge", "sunk"),
]  # fmt: skip


def test_the_formula_gives_the_known_ends():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)  # the known lightest AA grey


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_reaches_aa(scheme):
    """WCAG 2.2 success criterion 1.4.3: 4.5 to 1 for text."""
    colours = tokens(scheme)
    low = {p: round(contrast(colours[p[0]], colours[p[1]]), 2) for p in TEXT_PAIRS}
    assert {pair: ratio for pair, ratio in low.items() if ratio < 4.5} == {}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_shapes_and_edges_reach_aa(scheme):
    """WCAG 2.2 success criterion 1.4.11: 3 to 1 for what is not text."""
    colours = tokens(scheme)
    low = {p: round(contrast(colours[p[0]], colours[p[1]]), 2) for p in SHAPE_PAIRS}
    assert {pair: ratio for pair, ratio in low.items() if ratio < 3} == {}


def test_both_schemes_set_the_same_colours():
    light, dark = re.findall(r":root \{(.*?)\n\s*\}", CSS, re.S)[:2]
    assert set(re.findall(r"--([\w-]+): #", light)) == set(re.findall(r"--([\w-]+): #", dark))


def test_the_stylesheet_is_small_and_keeps_colours_in_its_tokens():
    assert len(CSS.encode()) <= 25 * 1024
    rules = re.sub(r":root \{.*?\}", "", CSS, flags=re.S)
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b", rules) == []
    used, made = set(re.findall(r"var\(--([\w-]+)\)", CSS)), set(re.findall(r"--([\w-]+):", CSS))
    assert used - made == set()
    assert made - used == set()


# --- states: a word, a shape and a tone ----------------------------------------------------------------
FAMILIES = [
    ("overdue", "in tolerance", "due soon", "planned", "no record"),
    ("within limit", "borderline", "over limit", "not valid"),
    ("steady", "drifting", "closing", "too few readings"),
    ("open", "deferred", "closed"),
    ("draft", "awaiting second signature", "signed", "released", "superseded"),
    ("nothing recorded against", "recorded against"),
    ("warning", "caution", "note"),
]


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family[0])
def test_a_shape_tells_the_states_of_one_kind_apart(family):
    drawn = [shapes.SHAPES[shapes.STATES[key].shape] for key in family]
    assert len(set(drawn)) == len(family)


def test_every_state_has_its_shape_and_every_shape_stays_in_its_box():
    for key, state in shapes.STATES.items():
        assert state.word.lower() == key
        assert state.tone in ("act", "heed", "plain", "faint")
        assert state.shape in shapes.SHAPES
    for marks in shapes.SHAPES.values():
        for mark in marks:
            spots = mark.points if isinstance(mark, shapes.Path) else ((mark.x - mark.r, mark.y + mark.r),)
            assert all(0 <= value <= 16 for spot in spots for value in spot)


@pytest.mark.parametrize("key", ["over limit", "over_limit", "Over-Limit"])
def test_state_takes_a_key_as_the_engine_writes_it(key):
    html = face.state(key)
    assert 'class="state act"' in html
    assert "<svg" in html
    assert ">over limit<" in html


def test_an_unknown_state_is_shown_as_its_word_and_escaped():
    assert face.state("<b>odd</b>") == '<span class="state plain">&lt;b&gt;odd&lt;/b&gt;</span>'
    assert "&lt;i&gt;" in face.state("overdue", "<i>")


# --- values, dates, sorting ------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (96.04, "kPa", "96.0"),
        (Decimal("96.40"), "kPa", "96.40"),
        (-3.5, "°C", "−3.5"),
        (-0.01, "kPa", "0.0"),
        (Decimal("8214.6"), "h", "8\u202f214.6"),
        (170, "mL", "170"),
        ("12,5", "kPa", "12,5"),
    ],
)
def test_unit_keeps_typed_digits_and_rounds_only_floats(value, unit, shown):
    assert f'<span class="value">{shown}<span class="unit">\u00a0{unit}</span>' in face.unit(value, unit)


@pytest.mark.parametrize("value", [None, "", float("nan"), float("inf")])
def test_unit_says_where_there_is_no_value(value):
    assert 'title="no value"' in face.unit(value, "kPa")


def test_dates_are_machine_readable_and_name_their_zone():
    assert face.day(dt.date(2026, 3, 1)) == '<time datetime="2026-03-01">1 Mar 2026</time>'
    with timezone.override(dt.timezone(dt.timedelta(hours=-3), "BAS")):
        late = dt.datetime(2026, 3, 1, 1, 30, tzinfo=dt.UTC)
        assert ">28 Feb 2026<" in face.day(late)
        assert ">28 Feb 2026 22:30 BAS<" in face.moment(late)
    assert "no value" in face.day(None)


def test_sort_turns_round_keeps_filters_and_leaves_the_page():
    context = Context({"request": RequestFactory().get("/?base=2&sort=due&page=7")})
    link = face.sort(context, "Due", "due")
    assert 'href="?base=2&amp;sort=-due"' in link
    assert "sorted upwards" in link
    assert 'href="?base=2&amp;sort=task"' in face.sort(context, "Task", "task")


# --- templates ---------------------------------------------------------------------------------------------
class Entry(forms.Form):
    """One field of every layout."""

    temperature = forms.DecimalField(help_text="Measured in the tank.")
    place = forms.ChoiceField(choices=[("t", "tank"), ("n", "nozzle")], widget=forms.RadioSelect)
    bled = forms.BooleanField()
    remark = forms.CharField(required=False)
    hidden = forms.CharField(widget=forms.HiddenInput, required=False)


def render(name: str, path: str = "/due/", **context: object) -> str:
    request = RequestFactory().get(path)
    template = Template("{% include name %}")
    html = template.render(RequestContext(request, {"name": name, **context}))
    return re.sub(r"\s+<", "<", html)


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_templates_hold_nothing_that_the_content_policy_forbids(path):
    text = path.read_text()
    assert not re.search(r"\sstyle=|\son\w+=|<style|javascript:|hx-on|hx-vals='js", text)
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", text))


def test_an_error_is_linked_to_its_field_and_named_at_the_top():
    html = render("partials/_form.html", form=Entry({"temperature": "warm"}))
    ids = set(re.findall(r'id="([^"]+)"', html))
    for named in re.findall(r'aria-describedby="([^"]+)"', html):
        assert set(named.split()) <= ids
    described = re.search(r'<input[^>]*name="temperature"[^>]*>', html)[0]
    assert 'aria-invalid="true"' in described
    assert "id_temperature_helptext id_temperature_error" in described
    assert 'value="warm"' in html
    summary = html[: html.index("<form")]
    assert set(re.findall(r'href="#([^"]+)"', summary)) <= ids
    assert all(word in summary for word in ("Temperature", "Place", "Bled", "Enter a number"))


def test_every_field_has_a_label_that_names_it():
    html = render("partials/_form.html", form=Entry())
    inputs = set(re.findall(r'<(?:input|select|textarea)[^>]*\bid="([^"]+)"', html)) - {"id_hidden"}
    assert inputs <= set(re.findall(r'<label for="([^"]+)"', html))
    assert html.count(">optional<") == 1
    assert "aria-invalid" not in html


def test_a_filter_form_carries_the_sorting():
    html = render("partials/_filter_form.html", "/due/?sort=-due", form=Entry(), target="#list")
    assert '<input type="hidden" name="sort" value="-due">' in html
    assert 'hx-target="#list"' in html
    assert 'method="get"' in html


COLUMNS = [{"label": "Aircraft", "sort": "aircraft"}, {"label": "State"}, {"label": "Days left", "num": True}]
ROW = {"tone": "act", "cells": [{"text": "Q-<b>", "href": "/a/1"}, {"state": "overdue"}, {"text": 0}]}


def test_a_table_names_itself_its_columns_and_its_rows():
    html = render("partials/_table.html", rows=[ROW], columns=COLUMNS, caption="Checks due")
    assert 'role="region" aria-label="Checks due" tabindex="0"' in html
    assert '<th scope="row"><a href="/a/1">Q-&lt;b&gt;</a></th>' in html
    assert '<td data-label="Days left" class="num">0</td>' in html
    assert '<tr class="act">' in html


def test_an_empty_table_says_so_in_words():
    html = render("partials/_table.html", rows=[], columns=COLUMNS, caption="x", empty="Nothing is due.")
    assert "<table" not in html
    assert "Nothing is due." in html


def test_the_pager_keeps_the_rest_of_the_address():
    page = KeyPage(range(50), before="before-7", after="after-99", whole=480)
    html = render("partials/_pager.html", "/due/?base=2&page=after-6", page_obj=page)
    assert "50 of 480" in html and '<a href="?base=2">First' in html
    assert 'href="?base=2&amp;page=before-7" rel="prev"' in html
    assert 'href="?base=2&amp;page=after-99" rel="next"' in html and 'href="?base=2&amp;page=last"' in html


def test_facts_take_pairs_and_dicts():
    facts = [
        ("Base", "North Skerry"),
        {"name": "Outcome", "state": "borderline"},
        ("Hours", None),
        ("Zero", 0),
    ]
    html = render("partials/_facts.html", facts=facts)
    assert "<dt>Base</dt><dd>North Skerry</dd>" in html
    assert "<dt>Hours</dt><dd>–</dd>" in html
    assert "<dt>Zero</dt><dd>0</dd>" in html
    assert html.index("Outcome") < html.index("borderline")


def test_cautions_carry_word_and_shape():
    html = render("partials/_cautions.html", cautions=[{"kind": "warning", "text": "<script>"}])
    assert '<li class="warning"><svg' in html
    assert "&lt;script&gt;" in html


def page(name: str, user: object, **context: object) -> str:
    request = RequestFactory().get("/")
    request.user = user
    return render_to_string(name, context, request=request)


def test_the_frame_has_its_landmarks(technician):
    technician.first_name = "<03>"
    html = page("404.html", technician, nav_items=[{"url": "/due/", "label": "Due list", "current": True}])
    assert html.index('href="#main"') < html.index("<header")
    assert 'lang="en-gb"' in html
    assert 'href="/due/" aria-current="page"' in html
    assert '<form method="post" action="/logout/"><input type="hidden" name="csrfmiddlewaretoken"' in html
    assert "&lt;03&gt;" in html
    assert '"allowEval": false, "includeIndicatorStyles": false' in html
    assert "It releases no aircraft" in html


def test_the_demo_banner_stands_on_every_page_of_the_demo_only(technician):
    assert "Demonstration" in page("403.html", technician, demo_banner=True)
    assert "Demonstration" not in page("403.html", technician, demo_banner=False)


@pytest.mark.django_db
def test_the_sign_in_page_shows_demo_people_only_when_told():
    login = {"role": "technician", "username": "tech", "password": "words"}
    nobody = AnonymousUser()
    assert "Demo log-ins" in page("registration/login.html", nobody, form=Entry(), demo_logins=[login])
    without = page("registration/login.html", nobody, form=Entry(), demo_logins=[])
    assert "Demo log-ins" not in without
    assert '<nav class="nav"' not in without


def test_the_page_of_last_resort_needs_nothing():
    html = Template((FLEET / "templates/500.html").read_text()).render(Context())
    assert "Something broke" in html
    assert "extends" not in (FLEET / "templates/500.html").read_text()

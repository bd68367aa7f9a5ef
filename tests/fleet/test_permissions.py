"""Every address, every role, really asked for: tests/permission_matrix.py says what must come of it."""

import re
from collections.abc import Iterator
from typing import NamedTuple

import pytest
from django.db import transaction
from django.test import Client, override_settings
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests.conftest import CAST, make_person
from tests.permission_matrix import MASTER_DATA, MATRIX, NOBODY, ModelRow, Row, Sample

ANONYMOUS = "anonymous"
MODEL_ADDRESS = re.compile(r"admin:(?P<model>[a-z]+_[a-z]+)_(?P<what>changelist|add|history|delete|change)$")


class Address(NamedTuple):
    name: str
    words: tuple[str, ...]


def addresses(patterns: list, space: str = "") -> Iterator[Address]:
    """Every named address of the site, with the words that it takes; nameless ones as 'space:None'."""
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            inner = f"{space}{pattern.namespace}:" if pattern.namespace else space
            yield from addresses(pattern.url_patterns, inner)
        elif isinstance(pattern, URLPattern):
            yield Address(f"{space}{pattern.name}", tuple(pattern.pattern.regex.groupindex))


ADDRESSES = list(addresses(get_resolver().url_patterns))
# Django's own: each leads on to a named address behind the same door; walked as one below.
NAMELESS = "admin:None"
NAMED = {address.name: address for address in ADDRESSES if address.name != NAMELESS}


def model_row(name: str) -> tuple[str, ModelRow] | None:
    """What is done and the row, for an address of one model in the set-up site."""
    found = MODEL_ADDRESS.match(name)
    if name in MATRIX or not found or found["model"] not in MASTER_DATA:
        return None
    return found["what"], MASTER_DATA[found["model"]]


class Site(NamedTuple):
    sample: Sample
    clients: dict[str, Client]


@pytest.fixture(autouse=True)
def _files_apart():
    """In place of the suite's own: the sample's files are kept for the whole module, see `site`."""


@pytest.fixture(scope="module")
def site(django_db_setup, django_db_blocker, tmp_path_factory) -> Iterator[Site]:
    """One world and one browser a role for the whole walk; all of it is undone at the end."""
    files = tmp_path_factory.mktemp("walk")
    apart = override_settings(MEDIA_ROOT=files / "media", EMAIL_FILE_PATH=files / "mail")
    with apart, django_db_blocker.unblock(), transaction.atomic():
        sample, clients = Sample(), {ANONYMOUS: Client()}
        sample.make_all()  # now, since what a test makes is undone after it
        for name, (role, acts) in CAST.items():
            clients[name] = Client()
            person = make_person(f"{name}-walk", role, acts)
            clients[name].force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        yield Site(sample, clients)
        transaction.set_rollback(True)


def answer(site: Site, who: str, method: str, url: str) -> int | str:
    """Status, or 'log-in' for being sent to the log-in page. What it changes is undone."""
    client = site.clients[who]
    cookies = client.cookies.copy()
    with transaction.atomic():
        response = getattr(client, method)(url)
        transaction.set_rollback(True)
    client.cookies = cookies
    if response.status_code == 302 and response.url.split("?")[0] in (
        reverse("login"),
        reverse("admin:login"),
    ):
        return "log-in"
    return response.status_code


def url_of(site: Site, name: str, row: Row) -> str:
    kwargs = row.kwargs(site.sample) if row.kwargs else {}
    for word in NAMED[name].words:
        if word not in kwargs and hasattr(site.sample, word):
            kwargs[word] = getattr(site.sample, word)
    return reverse(name, kwargs=kwargs)


def test_every_address_has_a_row():
    missing = sorted(name for name in NAMED if name not in MATRIX and model_row(name) is None)
    assert not missing, f"add rows to tests/permission_matrix.py for: {', '.join(missing)}"


def test_every_row_has_an_address():
    models = {MODEL_ADDRESS.match(name)["model"] for name in NAMED if MODEL_ADDRESS.match(name)}
    assert not set(MATRIX) - set(NAMED), "rows without an address"
    assert not set(MASTER_DATA) - models, "models that the set-up site does not have"


def test_nameless_addresses_are_only_those_of_the_set_up_site():
    assert {a.name for a in ADDRESSES if a.name.endswith("None")} == {NAMELESS}


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(set(MATRIX) & set(NAMED)))
def test_address(name: str, site: Site):
    row = MATRIX[name]
    url = url_of(site, name, row)
    some_method = set(row.get or ()) | set(row.post or ())
    for method, allowed in (("get", row.get), ("post", row.post)):
        for who in [*CAST, ANONYMOUS]:
            got = answer(site, who, method, url)
            told = f"{who}: {method.upper()} {url} -> {got}"
            if who == ANONYMOUS and not row.public:
                # A method that the page does not know may be refused before anybody is asked who they are.
                assert got == "log-in" or (allowed is None and got == 405), told
            elif allowed is None:
                assert got == 405 or (got == 403 and who not in some_method), told
            elif who in allowed or who == ANONYMOUS:
                check_taken(name, got, told)
            else:
                assert got == 403, told


def check_taken(name: str, got: int | str, told: str) -> None:
    if name.startswith("admin:") and got == "log-in":
        assert name in ("admin:login", "admin:logout"), told
        return
    if name == "logout":
        assert got == "log-in", told
        return
    assert got not in (403, 404, 405, "log-in"), told
    assert got < 500, told


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(name for name in NAMED if model_row(name)))
def test_set_up_address(name: str, site: Site):
    """Who may look opens list, row and history; who may not is refused, by reading and by writing."""
    what, row = model_row(name)
    kwargs = {word: first_key(name) for word in NAMED[name].words}
    url = reverse(name, kwargs=kwargs)
    reads = {"changelist": row.view, "add": row.add, "delete": NOBODY}.get(what, row.view)
    writes = {"changelist": row.view, "add": row.add, "delete": NOBODY, "change": row.change}.get(
        what, row.view
    )
    for who in CAST:
        for method, allowed in (("get", reads), ("post", writes)):
            if method == "post" and who in allowed:
                continue  # taken by the tests of the page itself
            got = answer(site, who, method, url)
            told = f"{who}: {method.upper()} {url} -> {got}"
            no_row = kwargs and "0" in kwargs.values()  # sends back to the index before it asks
            if who not in allowed:
                assert got == 403 or (no_row and got == 302), told
            else:
                assert got == 200 or (no_row and got == 302), told
    for method in ("get", "post"):
        assert answer(site, ANONYMOUS, method, url) == "log-in"


def first_key(name: str) -> str:
    """Key of a row of the model of a set-up address, or 0 where there is none."""
    from django.apps import apps

    label, model = MODEL_ADDRESS.match(name)["model"].split("_", 1)
    row = apps.get_model(label, model)._base_manager.order_by("pk").first()
    return str(row.pk) if row else "0"


@pytest.mark.django_db
def test_address_that_does_not_exist_in_the_set_up_site(site: Site):
    url = reverse("admin:index") + "nothing/here/"
    desk = MATRIX["admin:index"].get
    for who in CAST:
        assert answer(site, who, "get", url) == (404 if who in desk else 403), who
    assert answer(site, ANONYMOUS, "get", url) == "log-in"


@pytest.mark.django_db
def test_other_methods_change_nothing(site: Site):
    """PUT, PATCH and DELETE are answered by no page of ours, even to those who may do everything else."""
    for name, row in MATRIX.items():
        if name.startswith("admin:") or row.public or name not in NAMED:
            continue
        url = url_of(site, name, row)
        for method in ("put", "patch", "delete"):
            for who in sorted(set(row.get or ()) | set(row.post or ())):
                assert answer(site, who, method, url) in (405, 403), f"{who}: {method.upper()} {url}"


@pytest.mark.django_db
def test_the_refusal_says_what_is_missing(client_of, outsider):
    response = client_of(outsider).get(reverse("checks:instruments"))
    assert response.status_code == 403
    assert b"reading the records of the fleet" in response.content

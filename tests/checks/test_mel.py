"""The operator's MEL: typed by one, approved by another, frozen, replaced."""

import json

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from checks.models import MelItem, Record
from checks.services.errors import RecordError
from checks.services.mel import approve_item, change_item, type_item
from tests.checks.check_pages import logged_in
from tests.world import PASSWORD, World

ITEM = {
    "number": "30-40-01",
    "title": "Spare strainer",
    "category": "C",
    "limitation": "None.",
    "source_revision": "MEL, revision 8 (invented)",
}


@pytest.fixture
def item(world: World) -> MelItem:
    return type_item(by=world.person("controller1"), **ITEM)


def approved(world: World, item: MelItem, by: str = "director1") -> MelItem:
    return approve_item(item=item, by=world.person(by), password=PASSWORD)


def test_it_serves_once_another_person_has_approved_it(world: World, item: MelItem) -> None:
    assert item not in MelItem.objects.in_force()
    with pytest.raises(RecordError, match="role lacks it"):
        approved(world, item, "controller1")
    director = world.person("director1")
    controller_too = world.person("controller1").groups.all()
    director.groups.add(*controller_too)
    own = type_item(by=type(director).objects.get(pk=director.pk), **ITEM | {"number": "30-40-02"})
    with pytest.raises(RecordError, match="who typed an item can't approve it"):
        approved(world, own)
    approved(world, item)
    assert item in MelItem.objects.in_force()
    told = json.loads(Record.objects.latest("pk").canonical)
    assert told["act"] == "MEL item" and told["item"]["number"] == "30-40-01" and told["chain"] == "operator"


def test_an_approved_item_is_frozen_in_the_database_too(world: World, item: MelItem) -> None:
    change_item(item=item, by=world.person("controller2"), **ITEM | {"title": "Better"})
    assert MelItem.objects.get(pk=item.pk).typed_by == world.person("controller2")
    approved(world, item)
    with pytest.raises(RecordError, match="Type a revised item instead"):
        change_item(item=item, by=world.person("controller1"), **ITEM)
    with pytest.raises(IntegrityError, match="never edited"), transaction.atomic():
        MelItem.objects.filter(pk=item.pk).update(title="x")
    with pytest.raises(IntegrityError, match="never edited"), transaction.atomic():
        MelItem.objects.filter(pk=item.pk).delete()


def test_a_revised_item_takes_the_place_of_the_old_one_when_approved(world: World) -> None:
    old, controller = world.item("30-10-01"), world.person("controller1")
    new = type_item(by=controller, replaces=old, **ITEM | {"number": old.number})
    assert old in MelItem.objects.in_force()
    with pytest.raises(RecordError, match="already waits for approval"):
        type_item(by=controller, replaces=old, **ITEM)
    approved(world, new)
    assert set(MelItem.objects.in_force().filter(number=old.number)) == {new}
    with pytest.raises(RecordError, match="not in force any more"):
        type_item(by=controller, replaces=old, **ITEM)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"category": "A"}, "Category A states its interval"),
        ({"category": "B", "stated": 4, "stated_unit": "days"}, "B, C and D have their own"),
        ({"installed": 1, "required": 2}, "More are required than are installed"),
        ({"limitation": ""}, "cannot be blank"),
    ],
)
def test_what_does_not_fit_together_is_refused(world: World, wrong: dict, words: str) -> None:
    with pytest.raises(RecordError, match=words):
        type_item(by=world.person("controller1"), **ITEM | wrong)


def test_it_is_typed_changed_and_approved_on_pages(world: World) -> None:
    controller, director = logged_in(world, "controller1"), logged_in(world, "director1")
    wrong = controller.post("/mel/type/", ITEM | {"category": "A", "limits_icing": "on"})
    assert wrong.status_code == 422 and "Spare strainer" in wrong.content.decode()
    given = ITEM | {"category": "A", "stated": "6", "stated_unit": "flight days", "variant": ""}
    address = controller.post("/mel/type/", given).url
    item = MelItem.objects.get(number="30-40-01")
    assert (item.limits_icing, item.stated_unit, address) == (False, "flight days", f"/mel/{item.pk}/")
    controller.post(f"{address}change/", given | {"title": "Strainer of the spare tank"})
    page = director.get(f"{address}approve/").content.decode()
    assert "Strainer of the spare tank" in page and "category A: 6 flight days" in page
    assert director.post(f"{address}approve/", {"password": "x"}).status_code == 422
    assert director.post(f"{address}approve/", {"password": PASSWORD}).url == address
    assert controller.get(f"{address}change/").url == address
    page = controller.get("/mel/").content.decode()
    assert "30-40-01" in page and "waiting" in page
    revised = controller.get(f"/mel/type/?replaces={item.pk}").context["form"]
    assert revised.initial["number"] == "30-40-01"


def test_strangers_are_refused(world: World, outsider, client_of) -> None:
    assert Client().get("/mel/").status_code == 302
    assert client_of(outsider).get("/mel/").status_code == 403

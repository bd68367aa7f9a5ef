"""The record chains: they hold, they say where they broke, and they never fork."""

import json
import threading

import pytest
from django.db import connection, connections

from checks.engine.canonical import GENESIS, record_hash
from checks.models import ChainHead, CheckEvent, Reading, Record
from checks.services.chain import append
from checks.services.sign import sign_released
from checks.services.verify import verify_chain, verify_event
from fleet.models import Aircraft, Base, Variant
from tests.checks.conftest import NOON
from tests.checks.work import performed
from tests.guards import guards_lifted
from tests.world import PASSWORD, World


@pytest.fixture
def chain(world: World) -> ChainHead:
    """Four links: two checks, each signed as performed and released."""
    for _ in range(2):
        event = performed(world, world.forward)
        sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    return ChainHead.objects.get(aircraft=world.forward)


def test_each_link_is_hashed_with_the_one_before_it(chain: ChainHead) -> None:
    records = list(chain.records.order_by("number"))
    assert [r.number for r in records] == [1, 2, 3, 4] and chain.number == 4
    previous = GENESIS
    for record in records:
        assert record.previous_hash == previous
        assert record.hash == record_hash(previous, record.canonical)
        previous = record.hash
    assert chain.hash == previous and verify_chain(chain) == []
    assert records[0].reference == "Q-0000/00001"


def test_owner_number_act_and_time_are_part_of_what_is_hashed(chain: ChainHead) -> None:
    told = json.loads(chain.records.get(number=2).canonical)
    assert (told["number"], told["act"], told["form"]) == (2, "released", 1)
    assert told["chain"] == chain.owner and told["at"] == "2025-03-12T12:00:00.000000Z"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            "UPDATE checks_record SET canonical = replace(canonical, '96', '95') WHERE number = 3",
            "link 3: its text",
        ),
        (
            "UPDATE checks_record SET act = 'performed' WHERE number = 2",
            "link 2: its number, act, form, time or owner",
        ),
        ("UPDATE checks_chainhead SET number = 9", "the head names link 9"),
    ],
)
def test_the_first_broken_link_is_named(chain: ChainHead, change: str, words: str) -> None:
    with guards_lifted(connection), connection.cursor() as cursor:
        cursor.execute(change)
    chain.refresh_from_db()
    found = verify_chain(chain)
    assert words in found[0]


def test_a_removed_link_is_missed(chain: ChainHead) -> None:
    with guards_lifted(connection), connection.cursor() as cursor:
        cursor.execute("DELETE FROM checks_signature")
        cursor.execute(f"DELETE FROM checks_record WHERE number = 2 AND chain_id = {chain.pk}")
    assert "link 2: missing; the next one found is 3" in verify_chain(chain)


def test_a_rewritten_link_breaks_the_one_after_it(chain: ChainHead) -> None:
    record = chain.records.get(number=2)
    forged = record.canonical.replace("Releaser 1", "Releaser 9")
    with guards_lifted(connection):
        Record.objects.filter(pk=record.pk).update(
            canonical=forged, hash=record_hash(record.previous_hash, forged)
        )
    assert verify_chain(chain) == [
        "link 2: the signature differs from what was signed",
        "link 3: does not follow the link before it",
    ]


def test_rows_that_no_longer_say_what_was_signed_are_found(chain: ChainHead) -> None:
    event = CheckEvent.objects.first()
    assert verify_event(event) == []
    with guards_lifted(connection):
        Reading.objects.filter(event=event, role="series", sequence=1).update(typed="95")
    assert verify_event(event) == ["readings differ from what was signed"]
    with guards_lifted(connection):
        CheckEvent.objects.filter(pk=event.pk).update(outcome="over limit")
        event.results.first().delete()
    assert verify_event(event) == [
        f"{part} differ from what was signed" for part in ("event", "readings", "results")
    ]


def test_what_belongs_to_no_aircraft_goes_into_the_operator_s_chain(db: None) -> None:
    first = append(aircraft=None, act="approval", payload={"text": "one"}, at=NOON)
    second = append(aircraft=None, act="approval", payload={"text": "two"}, at=NOON)
    assert first.chain == second.chain and first.chain.aircraft is None
    assert second.previous_hash == first.hash and second.reference == "OPERATOR/00002"


@pytest.fixture
def two_aircraft(transactional_db: None) -> list[Aircraft]:
    base = Base.objects.create(
        code="b", name="B", time_zone="UTC", hemisphere="N", season_month=10, season_day=1
    )
    variant = Variant.objects.create(code="v", name="V")
    return [
        Aircraft.objects.create(
            registration=f"Q-T{n}",
            serial_number=f"T{n}",
            type_name="Demo Single",
            variant=variant,
            base=base,
            entered_service_on=NOON.date(),
        )
        for n in range(2)
    ]


def appending(aircraft: list[Aircraft], failed: list[BaseException], go: threading.Barrier) -> None:
    go.wait()
    try:
        for n in range(10):
            append(aircraft=aircraft[n % 2], act="test", payload={"n": n}, at=NOON)
    except BaseException as error:
        failed.append(error)
    finally:
        connections.close_all()


def test_chains_that_many_write_at_once_never_fork(two_aircraft: list[Aircraft]) -> None:
    """Six writers begin two chains together and add 60 links; both hold, none is lost."""
    failed: list[BaseException] = []
    go = threading.Barrier(6)
    threads = [threading.Thread(target=appending, args=(two_aircraft, failed, go)) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)
    assert failed == [] and not any(thread.is_alive() for thread in threads)
    heads = list(ChainHead.objects.order_by("owner"))
    assert [head.number for head in heads] == [30, 30]
    assert [verify_chain(head) for head in heads] == [[], []]

"""An audit pack of the small world, and ways to tamper with it."""

import hashlib
import json
import zipfile
from pathlib import Path
from typing import Any

from checks.models import CheckEvent
from checks.services.evidence import add_photo
from checks.services.sign import sign_performed
from fleet.models import Calibration
from reports.pack_making import Made, make_pack
from reports.pack_tables import Span
from tests.checks.evidence_files import jpeg
from tests.checks.work import filled, started
from tests.reports.record_cases import deferred, within
from tests.world import PASSWORD, World


def history(world: World) -> CheckEvent:
    """A released check, one over limit with its deferral, and one with a photo; the last is given back."""
    within(world)
    deferred(world)
    event = started(world, world.forward)
    add_photo(event=event, by=world.person("technician1"), content=jpeg(), remark="The nozzle.")
    filled(event, world)
    sign_performed(event=event, by=world.person("technician1"), password=PASSWORD)
    event.refresh_from_db()
    return event


def certificate(event: CheckEvent, stored: str) -> Calibration:
    """The calibration of the first reading of a check, with a file said to lie under a name."""
    calibration = Calibration.objects.get(pk=event.readings.exclude(calibration=None).first().calibration_id)
    Calibration.objects.filter(pk=calibration.pk).update(certificate_file=stored)
    return calibration


def made(world: World, path: Path, span: Span | None = None) -> Made:
    return make_pack(aircraft=world.forward, span=span or Span(), by=world.person("auditor1"), path=path)


def unpacked(path: Path, folder: Path) -> Path:
    with zipfile.ZipFile(path) as pack:
        pack.extractall(folder)
    return folder


def names(folder: Path) -> list[str]:
    return sorted(one.relative_to(folder).as_posix() for one in folder.rglob("*") if one.is_file())


def read(folder: Path, name: str) -> Any:
    return json.loads((folder / name).read_bytes())


def write(folder: Path, name: str, value: Any) -> None:
    (folder / name).write_text(json.dumps(value), encoding="utf-8")


def manifest_again(folder: Path) -> None:
    """What a forger does last: the manifest says what now lies there, and names the last link as the head."""
    manifest, chain = read(folder, "manifest.json"), read(folder, "chain.json")
    manifest["files"] = [
        {
            "name": name,
            "sha256": hashlib.sha256((folder / name).read_bytes()).hexdigest(),
            "size": (folder / name).stat().st_size,
        }
        for name in names(folder)
        if name != "manifest.json"
    ]
    last = chain["aircraft"]["links"][-1]
    manifest["head"] = {"number": last["number"], "hash": last["hash"]}
    write(folder, "manifest.json", manifest)


def chain_again(folder: Path) -> None:
    """A chain hashed anew over the texts that now lie there."""
    chain, before = read(folder, "chain.json"), None
    for link in chain["aircraft"]["links"]:
        link["previous_hash"] = before or link["previous_hash"]
        text = (folder / link["file"]).read_bytes()
        before = hashlib.sha256(link["previous_hash"].encode() + b"\n" + text).hexdigest()
        link["hash"] = before
    write(folder, "chain.json", chain)

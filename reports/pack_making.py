"""Makes an audit pack: collects, writes file by file, and keeps in the operator's chain that it was made."""

import datetime as dt
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import SuspiciousOperation
from django.core.files.storage import default_storage

from checks.engine.canonical import canonical_json
from checks.models import Record
from checks.services.packs import TAKE, keep_pack
from checks.services.persons import may
from fleet.models import Aircraft, User
from reports.audit_pack import AuditPack, LinkLine, audit_pack
from reports.pack_tables import Span
from reports.pack_writer import PackWriter, pieces, pretty
from reports.record import check_record
from reports.tool import tool_version

VERIFIER = Path(__file__).with_name("pack_verifier.py")
TEXTS = 50  # canonical texts read at a time
README = """Audit pack of {registration}, {span}. Made {made_at} by {made_by}, {operator}.{demo}

overview.pdf    what is in the pack, on paper
records/        each link of the aircraft's chain word for word (.json), each signed check as a sheet (.pdf)
operator/       links of the operator's chain on which these records rest
data/           recurring checks, defects and deferrals, fitments, utilisation, instruments with calibrations
files/          photos, paper originals, certificates; data/files.json says of what
chain.json      the links in order, with their hashes
manifest.json   SHA-256 and size of every file
verify.py       checks all of it; needs Python 3.8 or later and nothing else

Unpack it and run:  python verify.py HASH
HASH is the manifest's hash, told by whoever made the pack by another way than the pack itself, or the hash of
a head of this chain that you kept. Each link is hashed as SHA-256 over the hash of the link before it, a line
feed, and the bytes of its text; the first follows 64 zeros.

{proves}
"""


@dataclass(frozen=True)
class Made:
    """A pack that was made. seal: SHA-256 of its manifest, to be told apart from the pack."""

    path: Path
    seal: str
    head: tuple[int, str]
    size: int
    faults: tuple[str, ...]


def packs_folder() -> Path:
    """Where packs lie until they are fetched."""
    folder = Path(settings.MEDIA_ROOT) / "packs"
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def make_pack(*, aircraft: Aircraft, span: Span, by: User, path: Path | None = None) -> Made:
    """Write a pack to the path, or into the folder of packs under its seal, and keep that it was made.

    RecordError where the role takes no packs.
    """
    may(by, TAKE)
    pack = audit_pack(aircraft, span, made_by=str(by))
    target = path or packs_folder() / f"new-{aircraft.pk}-{pack.made_at:%Y%m%d%H%M%S%f}.zip"
    seal, faults = write_pack(pack, target)
    size = target.stat().st_size
    if path is None:
        target = target.replace(packs_folder() / f"{seal}.zip")
    keep_pack(
        by=by,
        aircraft=aircraft,
        since=span.since,
        until=span.until,
        seal=seal,
        head=pack.head,
        size=size,
        at=pack.made_at,
    )
    return Made(target, seal, pack.head, size, faults)


def write_pack(pack: AuditPack, path: Path) -> tuple[str, tuple[str, ...]]:
    """Write the file; the manifest's SHA-256, and what does not hold. One record in memory at a time."""
    from reports.pdf.audit_pack import overview_pdf  # reportlab is slow to import
    from reports.pdf.record import record_pdf

    faults = list(pack.faults)
    with PackWriter(path) as writer:
        for folder, links in (("records", pack.links), ("operator", pack.operator_links)):
            _add_texts(writer, folder, links)
        for line in pack.checks:
            record = check_record(line.uuid, now=pack.made_at)
            if record is not None:
                faults += [f"{record.record}: {fault}" for fault in record.faults]
                writer.add(line.file, record_pdf(record))
        told, missing = _add_files(writer, pack)
        faults += missing
        for name, table in sorted({**pack.tables, "checks": _checks(pack), "files": told}.items()):
            writer.add(f"data/{name}.json", pretty(json.loads(canonical_json(table))))
        writer.add("chain.json", pretty(_chain(pack)))
        writer.add("overview.pdf", overview_pdf(pack, tuple(faults)))
        writer.add("README.txt", _readme(pack).encode())
        writer.add("verify.py", VERIFIER.read_bytes())
        seal = writer.close_with(_manifest(pack, faults))
    return seal, tuple(faults)


def _add_texts(writer: PackWriter, folder: str, links: tuple[LinkLine, ...]) -> None:
    for start in range(0, len(links), TEXTS):
        some = {link.key: link for link in links[start : start + TEXTS]}
        texts = dict(Record.objects.filter(pk__in=some).values_list("pk", "canonical"))
        for key, link in some.items():
            writer.add(f"{folder}/{link.file}", texts[key].encode())


def _add_files(writer: PackWriter, pack: AuditPack) -> tuple[list[dict[str, Any]], list[str]]:
    """Kept files, each held against its recorded hash; what is told of them, and what is wrong."""
    told, faults = [], []
    for line in pack.files:
        try:
            with default_storage.open(line.stored, "rb") as file:
                digest = writer.add(line.file, pieces(file))
            wrong = "" if line.sha256 in ("", digest) else "not the file that was kept"
        except (OSError, SuspiciousOperation):  # not there, or said to lie outside the media folder
            digest, wrong = "", "the file is missing"
        if wrong:
            faults.append(f"{line.what} of {line.of}: {wrong}")
        told.append(
            {
                "file": line.file if digest else "",
                "of": line.of,
                "what": line.what,
                "sha256": digest,
                "recorded_sha256": line.sha256,
                "fault": wrong,
            }
        )
    return told, faults


def _checks(pack: AuditPack) -> list[dict[str, Any]]:
    return [
        {
            "event": line.uuid,
            "link": line.number,
            "sheet": line.file,
            "date_of_work": line.on,
            "task": line.task,
            "revision": line.revision,
            "outcome": line.outcome,
            "state": line.state,
        }
        for line in pack.checks
    ]


def _chain(pack: AuditPack) -> dict[str, Any]:
    return {
        "aircraft": {"owner": pack.owner, "links": _told("records", pack.links)},
        "operator": {"owner": "operator", "links": _told("operator", pack.operator_links)},
    }


def _told(folder: str, links: Iterable[LinkLine]) -> list[dict[str, Any]]:
    return [
        {
            "number": link.number,
            "act": link.act,
            "written_at": _moment(link.at),
            "previous_hash": link.previous_hash,
            "hash": link.hash,
            "file": f"{folder}/{link.file}",
            "in_period": link.in_period,
        }
        for link in links
    ]


def _manifest(pack: AuditPack, faults: list[str]) -> dict[str, Any]:
    number, hash_ = pack.head if pack.links else (0, "0" * 64)
    return {
        "form": 1,
        "tool": tool_version(),
        "made_at": _moment(pack.made_at),
        "made_by": pack.made_by,
        "operator": pack.operator,
        "is_demo": pack.is_demo,
        "aircraft": {
            "registration": pack.aircraft.registration,
            "serial_number": pack.aircraft.serial_number,
            "chain": pack.owner,
        },
        "period": {
            "since": pack.span.since and pack.span.since.isoformat(),
            "until": pack.span.until and pack.span.until.isoformat(),
        },
        "head": {"number": number, "hash": hash_},
        "proves": list(pack.proves),
        "faults_when_made": faults,
    }


def _readme(pack: AuditPack) -> str:
    demo = " DEMONSTRATION: everything in it is invented." if pack.is_demo else ""
    return README.format(
        registration=pack.aircraft.registration,
        span=pack.span.words,
        made_at=_moment(pack.made_at),
        made_by=pack.made_by,
        operator=pack.operator,
        demo=demo,
        proves="\n".join(pack.proves),
    )


def _moment(at: dt.datetime) -> str:
    return at.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")

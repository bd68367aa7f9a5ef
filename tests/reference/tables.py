"""Reads a file of outside figures: CSV rows as dicts; lines that start with # name the source."""

import csv
from pathlib import Path


def rows(name: str) -> list[dict[str, str]]:
    """The rows of tests/reference/<name>. Fails where the file has no row, or names no source."""
    lines = (Path(__file__).parent / name).read_text(encoding="utf-8").splitlines()
    found = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert found and lines[0].startswith("#")
    return found

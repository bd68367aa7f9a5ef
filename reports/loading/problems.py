"""What is wrong with a row, by line and field, and what came of a whole file."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError

# What a service calls by another name than the files do.
FIELD_NAMES = {
    NON_FIELD_ERRORS: "",
    "on": "date",
    "work_date": "date",
    "serial_number": "serial number",
    "type_name": "type",
    "entered_service_on": "entered service",
}


class Bad(Exception):
    """One cell that can't be taken: which field, and why."""

    def __init__(self, name: str, reason: str) -> None:
        super().__init__(reason)
        self.name, self.reason = name, reason


@dataclass(frozen=True)
class Problem:
    """One bad cell or line."""

    line: int
    field: str
    reason: str

    def __str__(self) -> str:
        place = f"line {self.line}, {self.field}" if self.field else f"line {self.line}"
        return f"{place}: {self.reason}"


@dataclass
class Tally:
    """What a file brought: lines added, lines known already, problems by line, and notes."""

    added: list[int] = field(default_factory=list)
    known: list[int] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @contextmanager
    def row(self, line: int) -> Iterator[None]:
        """Keep what goes wrong with one row, and go on with the next."""
        try:
            yield
        except Bad as bad:
            self.problems.append(Problem(line, bad.name, bad.reason))
        except ValidationError as error:
            self.problems += [Problem(line, name, reason) for name, reason in _reasons(error)]

    def sort(self) -> None:
        self.problems.sort(key=lambda problem: problem.line)


def _reasons(error: ValidationError) -> Iterator[tuple[str, str]]:
    if not hasattr(error, "error_dict"):
        yield from (("", message) for message in error.messages)
        return
    for name, errors in error.error_dict.items():
        for one in errors:
            yield from ((FIELD_NAMES.get(name, name), message) for message in one.messages)

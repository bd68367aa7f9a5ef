"""What a service says when it refuses: which field, what is wrong, and the way out."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong. `field` is the name of a form field, or __all__ for the whole."""

    message: str
    field: str = NON_FIELD_ERRORS


class RecordError(ValidationError):
    """A refusal with one or more problems. A form takes it as it is: form.add_error(None, error)."""

    def __init__(self, *problems: Problem | str, field: str = NON_FIELD_ERRORS) -> None:
        self.problems = tuple(p if isinstance(p, Problem) else Problem(p, field) for p in problems)
        by_field: dict[str, list[str]] = {}
        for problem in self.problems:
            by_field.setdefault(problem.field, []).append(problem.message)
        super().__init__(by_field)

    def __str__(self) -> str:
        return " ".join(problem.message for problem in self.problems)


class Conflict(RecordError):
    """Something else is already kept under this key; both stay. `existing` is what is kept."""

    def __init__(self, message: str, *, existing: object) -> None:
        super().__init__(message)
        self.existing = existing


def refuse_if(problems: Iterable[Problem | str]) -> None:
    """Raise all problems at once, so that a person sees the whole list and not one after another."""
    found = tuple(problems)
    if found:
        raise RecordError(*found)


def from_validation(error: ValidationError, prefix: str = "") -> list[Problem]:
    """The problems of a model's full_clean, with `prefix` before each message."""
    if not hasattr(error, "error_dict"):
        return [Problem(prefix + message) for message in error.messages]
    return [
        Problem(prefix + message, field)
        for field, errors in error.error_dict.items()
        for one in errors
        for message in one.messages
    ]

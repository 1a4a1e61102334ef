"""Refusals a person or a calling program can put right. Imports no Django.

Every refusal carries a stable ``code`` (for programs), a ``title`` (one line in words), and the
facts behind it. Pages, the API and commands each have one place that turns one into an answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, ClassVar


@dataclass(frozen=True)
class FieldError:
    """One fault in what was given.

    ``path`` says where (``zones[2].polygon``), ``says`` what is wrong, ``right`` what would be.
    """

    path: str
    says: str
    right: str = ""


class Refusal(Exception):
    """The base of every refusal; ``status`` is the HTTP status it is answered with."""

    default_status: ClassVar[int] = 409

    def __init__(
        self,
        code: str,
        title: str,
        *,
        detail: str = "",
        status: int | None = None,
        errors: Sequence[FieldError] = (),
        facts: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(title)
        self.code = code
        self.title = title
        self.detail = detail
        self.status = self.default_status if status is None else status
        self.errors: tuple[FieldError, ...] = tuple(errors)
        self.facts: Mapping[str, Any] = MappingProxyType(dict(facts or {}))

    def __str__(self) -> str:
        parts = [self.title, self.detail, *(f"{e.path}: {e.says}" for e in self.errors)]
        return " ".join(part for part in parts if part)


class NotAllowed(Refusal):
    """The person is known, but their role may not do this."""

    default_status = 403


class NotFound(Refusal):
    """There is no such thing in this shop; another shop's things are answered the same way."""

    default_status = 404


class Invalid(Refusal):
    """What was given is wrong; ``errors`` says where and what would be right."""

    default_status = 422


class Conflict(Refusal):
    """What was asked clashes with the state of things, or with someone else's booking."""

    default_status = 409


class Stale(Refusal):
    """The thing was changed by someone else since it was read."""

    default_status = 412

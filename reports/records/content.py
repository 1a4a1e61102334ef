"""What a record says, as plain facts. Imports no Django.

Moments are ISO 8601 text on the shop's clock with its offset, so that a record read in ten years
needs no time zone table. Numbers are unrounded in mm, deg, V, kPa, min or 1; beside each stands the
wording that was shown to people. An issued content never changes: its digest is kept with it.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final, TypeVar

FORM: Final = 1  # raise it when a member changes its meaning
MAKER_FIRST: Final = (
    "The vehicle maker’s current service information decides. It, local codes and licensed "
    "practice go before anything written here."
)
INVENTED: Final = "Procedures marked as invented are demonstrations. Do not calibrate by them."


class ContentUnreadable(ValueError):
    """A stored content is not one of this form; the message names the member."""


@dataclass(frozen=True)
class ShopFacts:
    name: str
    address: str
    phone: str
    email: str
    time_zone: str
    units: str


@dataclass(frozen=True)
class VehicleFacts:
    label: str
    vin: str
    model_year: int | None
    plate: str


@dataclass(frozen=True)
class VisitFacts:
    """``state`` is the visit's own when the record was issued; moments are "" where none is."""

    ro_number: str
    customer: str
    state: str
    work_done: tuple[str, ...]
    checked_in_at: str
    ready_at: str
    signed_off_at: str
    signed_off_by: str
    cancelled_reason: str


@dataclass(frozen=True)
class CodeLine:
    """A trouble code of one module; ``explanation`` says why one stays after the work."""

    code: str
    module: str
    status: str
    explanation: str


@dataclass(frozen=True)
class ScanFacts:
    taken_at: str
    taken_by: str
    tool: str
    tool_serial: str


@dataclass(frozen=True)
class BeforeAndAfter:
    """Both scans compared; without one of them nothing can be said about cleared and new."""

    pre: ScanFacts | None
    post: ScanFacts | None
    found: tuple[CodeLine, ...]
    cleared: tuple[CodeLine, ...]
    remaining: tuple[CodeLine, ...]
    new: tuple[CodeLine, ...]
    compared_by: str


@dataclass(frozen=True)
class AnswerLine:
    """A question with its answer in words; ``met`` says whether the answer was the wanted one."""

    ask: str
    answer: str
    met: bool
    says: str
    answered_by: str
    answered_at: str


@dataclass(frozen=True)
class ReadingLine:
    """A reading as typed. ``struck`` ones were corrected and counted for nothing."""

    label: str
    typed: str
    value: float
    unit: str
    value_says: str
    instrument: str
    instrument_serial: str
    read_by: str
    read_at: str
    struck: bool


@dataclass(frozen=True)
class CheckLine:
    """A limit judged: the verdict, and how likely the true value lies within the limits."""

    label: str
    verdict: str
    probability: float
    says: str
    probability_says: str


@dataclass(frozen=True)
class UnitLine:
    name: str
    serial: str
    fitness: str
    fitness_says: str


@dataclass(frozen=True)
class OverrideLine:
    """A guard a manager let pass; ``applies_to`` names the calibration, or the visit."""

    applies_to: str
    says: str
    reason: str
    overridden_by: str
    overridden_at: str


@dataclass(frozen=True)
class AttemptFacts:
    number: int
    technician: str
    begun_at: str
    run_started_at: str
    ended_at: str
    outcome: str
    cause: str
    note: str
    method: str  # of the arithmetic behind the checks
    preconditions: tuple[AnswerLine, ...]
    readings: tuple[ReadingLine, ...]
    checks: tuple[CheckLine, ...]
    confirmations: tuple[AnswerLine, ...]
    after_checks: tuple[AnswerLine, ...]
    units: tuple[UnitLine, ...]


@dataclass(frozen=True)
class ProcedureFacts:
    code: str
    name: str
    edition: int
    digest: str
    source_document: str
    source_dated_on: str
    invented: bool


@dataclass(frozen=True)
class CalibrationFacts:
    name: str
    system: str
    method: str
    state: str
    reasons: tuple[str, ...]
    place: str
    procedure: ProcedureFacts
    attempts: tuple[AttemptFacts, ...]
    cancelled_reason: str
    dealt_with: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Issue:
    """Which record of the visit this is, and which one it takes the place of."""

    number: int
    supersedes: int | None
    reason: str
    issued_at: str
    issued_by: str


@dataclass(frozen=True)
class RecordContent:
    issue: Issue
    shop: ShopFacts
    vehicle: VehicleFacts
    visit: VisitFacts
    scans: BeforeAndAfter
    calibrations: tuple[CalibrationFacts, ...]
    overrides: tuple[OverrideLine, ...]
    people: tuple[str, ...]
    cautions: tuple[str, ...]
    form: int = FORM

    def as_json(self) -> dict[str, Any]:
        """Everything as JSON can hold it."""
        content: dict[str, Any] = json.loads(self.canonical())
        return content

    def canonical(self) -> str:
        """JSON with sorted keys and no blanks: one text for one content.

        Raises:
            ValueError: a number is infinite or none.
        """
        return json.dumps(
            dataclasses.asdict(self),
            sort_keys=True,
            separators=(",", ":"),
            ensure_ascii=True,
            allow_nan=False,
        )

    def digest(self) -> str:
        """SHA-256 (FIPS 180-4) of the canonical text, as 64 hexadecimal digits."""
        return hashlib.sha256(self.canonical().encode()).hexdigest()

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> RecordContent:
        """Read a stored content.

        Numbers take the type of their member again: a database may hand back 4000.0 as 4000.

        Raises:
            ContentUnreadable: a member is missing, unknown, or of another kind.
        """
        if content.get("form") != FORM:
            raise ContentUnreadable(f"form: {content.get('form')!r} is not {FORM}")
        return _read(cls, content, "record")


_Facts = TypeVar("_Facts")


def _read(kind: type[_Facts], content: Any, path: str) -> _Facts:
    if not isinstance(content, Mapping):
        raise ContentUnreadable(f"{path}: not an object")
    hints = _hints(kind)  # type: ignore[arg-type]  # every class is hashable
    if set(content) != set(hints):
        odd = ", ".join(sorted(set(content) ^ set(hints)))
        raise ContentUnreadable(f"{path}: missing or unknown: {odd}")
    return kind(**{name: _value(hints[name], content[name], f"{path}.{name}") for name in hints})


@cache
def _hints(kind: type[Any]) -> Mapping[str, Any]:
    return typing.get_type_hints(kind)


def _value(kind: Any, value: Any, path: str) -> Any:
    if dataclasses.is_dataclass(kind):
        return _read(typing.cast("type[Any]", kind), value, path)
    origin = typing.get_origin(kind)
    if origin is tuple:
        item = typing.get_args(kind)[0]
        if not isinstance(value, list | tuple):
            raise ContentUnreadable(f"{path}: not a list")
        return tuple(_value(item, each, f"{path}[{at}]") for at, each in enumerate(value))
    if origin in (types.UnionType, typing.Union):
        if value is None:
            return None
        return _value(typing.get_args(kind)[0], value, path)
    if kind is float and isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if isinstance(value, bool) is not (kind is bool) or not isinstance(value, kind):
        raise ContentUnreadable(f"{path}: not {kind.__name__}")
    return value

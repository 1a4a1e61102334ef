"""A procedure edition: the shop's own transcription of the current service information."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal, Self

from jobs.metrology import (
    Check,
    Instrument,
    Quantity,
    SetOutStep,
    Units,
    Worksheet,
    judge,
    parse_quantity,
    tell_against_limits,
)
from jobs.metrology.quantities import factor, inside_unit
from jobs.metrology.schema import shape_faults
from jobs.procedures.faults import meaning_faults
from jobs.procedures.schema import SCHEMA
from shopcal.errors import FieldError, Invalid

Method = Literal["static", "dynamic", "both", "alignment"]
RunKind = Literal["scan_tool", "drive", "rack"]


class ProcedureFaults(Invalid):
    """The edition cannot be used; ``errors`` holds every fault with its path."""

    def __init__(self, errors: Sequence[FieldError]) -> None:
        super().__init__("procedure_faults", "This procedure cannot be used.", errors=errors)


@dataclass(frozen=True)
class Question:
    """Something a person confirms with yes or no."""

    name: str
    ask: str
    caution: str = ""

    @classmethod
    def from_content(cls, content: Mapping[str, Any]) -> Self:
        """Read ``{"name", "ask", "caution"}``."""
        return cls(content["name"], content["ask"], content.get("caution", ""))


@dataclass(frozen=True)
class Precondition:
    """What must be true before starting: a yes, or a quantity within limits (inside unit)."""

    name: str
    ask: str
    kind: Literal["yes_no", "quantity"]
    unit: str = ""
    lower: float | None = None
    upper: float | None = None
    instrument: Instrument = field(default_factory=Instrument)
    caution: str = ""
    remedy: str = ""

    @classmethod
    def from_content(cls, content: Mapping[str, Any]) -> Self:
        """Read one whose faults have been looked for."""
        unit = content.get("unit", "")
        scale = factor(unit) if unit else 1.0
        lower, upper = content.get("lower"), content.get("upper")
        return cls(
            name=content["name"],
            ask=content["ask"],
            kind=content["kind"],
            unit=unit,
            lower=None if lower is None else lower * scale,
            upper=None if upper is None else upper * scale,
            instrument=Instrument.from_content(content.get("instrument", {}), unit or "1"),
            caution=content.get("caution", ""),
            remedy=content.get("remedy", ""),
        )

    def judge(self, typed: str | Quantity, units: Units = "metric") -> Check:
        """Judge a quantity as typed against the limits.

        Raises:
            ReadingRefused: not a quantity of this kind.
            TypeError: this precondition is answered with yes or no.
        """
        if self.kind != "quantity":
            raise TypeError(f"{self.name} is answered with yes or no")
        found = parse_quantity(typed, self.unit) if isinstance(typed, str) else typed
        if found.unit != inside_unit(self.unit):
            raise TypeError(f"{self.name} is not given in {found.unit}")
        return judge(
            found.value,
            found.unit,
            lower=self.lower,
            upper=self.upper,
            standard_uncertainty=self.instrument.standard_uncertainty(found.value),
            units=units,
            advice="measure again, or with a finer instrument",
            remedy=self.remedy,
        )


@dataclass(frozen=True)
class Equipment:
    """How many units of a type are needed at once."""

    type: str
    count: int


@dataclass(frozen=True)
class Minutes:
    """How long the parts take."""

    set_up: int
    run: int
    clear_away: int

    @property
    def total(self) -> int:
        """Return the whole work in minutes."""
        return self.set_up + self.run + self.clear_away


@dataclass(frozen=True)
class SharedSetUp:
    """What stays set out for the next procedure that uses it as well, and what that saves it."""

    name: str
    saves_minutes: int


@dataclass(frozen=True)
class FloorTolerance:
    """How level the floor under the clear zone must be."""

    slope_percent: float
    deviation_mm: float


@dataclass(frozen=True)
class LightRequirement:
    """How well the floor under the clear zone must be lit; None is no limit.

    ``uniformity`` is the least share of the mean that the darkest place may have.
    """

    min_lux: float | None = None
    max_lux: float | None = None
    uniformity: float | None = None


@dataclass(frozen=True)
class Run:
    """How the calibration itself goes; ``wait_away`` is what everyone does meanwhile."""

    kind: RunKind
    says: tuple[str, ...]
    wait_away: str
    passes_when: str


@dataclass(frozen=True)
class Source:
    """The service information this was transcribed from."""

    document: str
    dated_on: date
    says: str


@dataclass(frozen=True)
class ProcedureContent:
    """One edition. ``clear_zone`` is kept as written, for the floor to read; null on the road."""

    code: str
    name: str
    system: str
    method: Method
    clear_zone: Mapping[str, Any] | None = field(hash=False)
    zone_kind: Literal["rack"] | None
    floor: FloorTolerance | None
    light: LightRequirement | None
    equipment: tuple[Equipment, ...]
    skills: tuple[str, ...]
    minutes: Minutes
    second_person_minutes: int
    shared_set_up: SharedSetUp | None
    road: bool
    lag_minutes: int
    lag_after: frozenset[str]
    lag_says: str
    triggers: Mapping[str, str] = field(hash=False)
    needs_first: tuple[str, ...]
    supersedes: tuple[str, ...]
    preconditions: tuple[Precondition, ...]
    worksheet: Worksheet
    set_out: tuple[SetOutStep, ...]
    run: Run
    during_run: tuple[Question, ...]
    after_checks: tuple[Question, ...]
    cautions: tuple[str, ...]
    blocking_codes: tuple[str, ...]
    source: Source
    invented: bool
    causes: tuple[str, ...]

    @classmethod
    def from_content(cls, content: Mapping[str, Any]) -> Self:
        """Read an edition.

        Raises:
            ProcedureFaults: every fault with its path, first of shape, then of meaning.
        """
        faults = shape_faults(SCHEMA, content) or tuple(meaning_faults(content))
        if faults:
            raise ProcedureFaults(faults)
        return cls(**_facts(content), **_work(content))

    def lag_after_work(self, work: Collection[str]) -> int:
        """Return the minutes to wait after this work before starting.

        Without ``lag_after`` the lag follows any work.
        """
        if self.lag_after and not self.lag_after & set(work):
            return 0
        return self.lag_minutes


def content_digest(content: Mapping[str, Any]) -> str:
    """Return the SHA-256 of an edition's content, whatever the order of its fields."""
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def limits_in_words(precondition: Precondition, units: Units = "metric") -> str:
    """Say the limits of a quantity: ``between 11.8 V and 15 V``."""
    if precondition.kind != "quantity":
        return ""
    bound = precondition.lower if precondition.lower is not None else precondition.upper
    told = tell_against_limits(
        bound or 0.0, inside_unit(precondition.unit), precondition.lower, precondition.upper, units
    )
    return told.partition(", ")[2]


def _facts(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return what planning and booking need to know."""
    floor, light = content.get("floor"), content.get("light")
    shared = content.get("shared_set_up")
    return {
        **{name: content[name] for name in ("code", "name", "system", "method", "clear_zone")},
        "zone_kind": content.get("zone_kind"),
        "floor": FloorTolerance(**floor) if floor else None,
        "light": LightRequirement(**light) if light else None,
        "equipment": tuple(
            Equipment(item["type"], item.get("count", 1)) for item in content.get("equipment", ())
        ),
        "skills": tuple(content["skills"]),
        "minutes": Minutes(**content["minutes"]),
        "second_person_minutes": content.get("second_person_minutes", 0),
        "shared_set_up": SharedSetUp(**shared) if shared else None,
        "road": content.get("road", False),
        "lag_minutes": content.get("lag_minutes", 0),
        "lag_after": frozenset(content.get("lag_after", ())),
        "lag_says": content.get("lag_says", ""),
        "triggers": dict(content["triggers"]),
        "needs_first": tuple(content.get("needs_first", ())),
        "supersedes": tuple(content.get("supersedes", ())),
    }


def _work(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the technician's page and the record need to know."""
    run, source = content["run"], content["source"]
    return {
        "preconditions": tuple(map(Precondition.from_content, content["preconditions"])),
        "worksheet": Worksheet.from_content({"inputs": [], **content["worksheet"]}),
        "set_out": tuple(map(SetOutStep.from_content, content.get("set_out", ()))),
        "run": Run(
            run["kind"], tuple(run["says"]), run.get("wait_away", ""), run.get("passes_when", "")
        ),
        "during_run": tuple(map(Question.from_content, content.get("during_run", ()))),
        "after_checks": tuple(map(Question.from_content, content["after_checks"])),
        "cautions": tuple(content["cautions"]),
        "blocking_codes": tuple(content.get("blocking_codes", ())),
        "source": Source(
            source["document"], date.fromisoformat(source["dated_on"]), source["says"]
        ),
        "invented": content.get("invented", False),
        "causes": tuple(content.get("causes", ())),
    }

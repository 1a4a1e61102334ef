"""Setting-out steps: sentences with measured and computed values put in."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from string import Formatter
from typing import Any, Protocol, Self

from jobs.metrology.wording import Units, format_quantity
from shopcal.errors import FieldError


class _HasValue(Protocol):
    @property
    def value(self) -> float: ...
    @property
    def unit(self) -> str: ...


@dataclass(frozen=True)
class SetOutStep:
    """One act with the tape. ``says`` holds names in braces: ``Mark {mark_offset} outside ...``."""

    order: int
    says: str
    uses: tuple[str, ...]
    caution: str = ""

    @classmethod
    def from_content(cls, content: Mapping[str, Any]) -> Self:
        """Read ``{"order", "says", "uses", "caution"}``, its faults looked for before."""
        return cls(
            order=content["order"],
            says=content["says"],
            uses=tuple(content.get("uses", ())),
            caution=content.get("caution", ""),
        )


@dataclass(frozen=True)
class FilledStep:
    """A step in words; ``waits_for`` names the values it still lacks (shown as an ellipsis)."""

    order: int
    says: str
    caution: str
    waits_for: tuple[str, ...]


def placeholders(says: str) -> tuple[str, ...]:
    """Return the names in braces.

    Raises:
        ValueError: braces that do not pair, or that hold more than a name.
    """
    found = []
    for _, name, spec, conversion in Formatter().parse(says):
        if name is None:
            continue
        if spec or conversion or not name.isidentifier():
            raise ValueError(f"{{{name}}} must be a plain name in braces")
        found.append(name)
    return tuple(found)


def set_out_faults(
    steps: Sequence[Mapping[str, Any]], names: Collection[str]
) -> tuple[FieldError, ...]:
    """Return what is wrong with steps of the right shape, against the worksheet's names."""
    faults: list[FieldError] = []
    last = 0
    for index, step in enumerate(steps):
        path = f"set_out[{index}]"
        if step["order"] <= last:
            faults.append(FieldError(f"{path}.order", "does not go up", "Number from 1 upward."))
        last = step["order"]
        uses = step.get("uses", ())
        for name in sorted(set(uses) - set(names)):
            faults.append(FieldError(f"{path}.uses", f"“{name}” is not a name of the worksheet"))
        try:
            written = placeholders(step["says"])
        except ValueError as fault:
            faults.append(FieldError(f"{path}.says", str(fault)))
            continue
        for name in sorted(set(written) - set(uses)):
            faults.append(FieldError(f"{path}.says", f"“{name}” is not listed under uses"))
    return tuple(faults)


def fill(
    steps: Sequence[SetOutStep], values: Mapping[str, _HasValue], units: Units = "metric"
) -> tuple[FilledStep, ...]:
    """Put values into the steps, in taping order, worded for the shop's units."""
    told = {name: format_quantity(v.value, v.unit, units) for name, v in values.items()}
    return tuple(
        FilledStep(
            order=step.order,
            says=step.says.format_map({name: told.get(name, "…") for name in step.uses}),
            caution=step.caution,
            waits_for=tuple(name for name in step.uses if name not in told),
        )
        for step in sorted(steps, key=lambda each: each.order)
    )

"""What an instrument may be wrong by."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

from jobs.metrology.quantities import inside_unit

# a + b * L in millimetres with L in metres, rounded up to the next whole metre:
# OIML R 35-1 and Directive 2014/32/EU, annex X (MI-008), chapter I.
_TAPE_MPE_MM: Final = {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4)}


class TapeClass(StrEnum):
    """Accuracy class printed on a tape; I is the finest."""

    I = "I"  # noqa: E741  the class is called I
    II = "II"
    III = "III"


def tape_maximum_permissible_error_mm(tape_class: TapeClass, length_mm: float) -> float:
    """Return the largest error a tape of this class may show over ``length_mm`` (OIML R 35-1)."""
    a_mm, b_mm_per_m = _TAPE_MPE_MM[tape_class]
    # Rounding first keeps 2 m typed as 6.56168 ft from counting as 3 m.
    metres = math.ceil(round(abs(length_mm) / 1000, 9))
    return a_mm + b_mm_per_m * metres


@dataclass(frozen=True)
class Instrument:
    """One instrument: errors in the inside unit of what it reads (mm, deg, V, kPa).

    ``maximum_error`` and ``maximum_error_percent`` of the reading add up; a tape has a class
    instead. ``certificate_uncertainty`` is a standard uncertainty from its own certificate.
    """

    name: str = ""
    tape_class: TapeClass | None = None
    maximum_error: float = 0.0
    maximum_error_percent: float = 0.0
    resolution: float = 0.0
    certificate_uncertainty: float = 0.0
    equipment: str = ""

    @classmethod
    def from_content(cls, content: Mapping[str, Any], unit: str) -> Instrument:
        """Read ``{"class", "resolution_mm" | "resolution", "u", "mpe", "mpe_percent", ...}``.

        Shape is the schema's business.

        Raises:
            ValueError: a tape class for something that is not a length.
        """
        is_length = inside_unit(unit) == "mm"
        if "class" in content and not is_length:
            raise ValueError("a tape class belongs to a length")
        if "resolution_mm" in content and not is_length:
            raise ValueError("resolution_mm belongs to a length")
        return cls(
            name=str(content.get("name", "")),
            tape_class=TapeClass(content["class"]) if "class" in content else None,
            maximum_error=float(content.get("mpe", 0)),
            maximum_error_percent=float(content.get("mpe_percent", 0)),
            resolution=float(content.get("resolution_mm", content.get("resolution", 0))),
            certificate_uncertainty=float(content.get("u", 0)),
            equipment=str(content.get("equipment", "")),
        )

    def maximum_permissible_error(self, value: float) -> float:
        """Return the largest error allowed at ``value``, in the same unit."""
        error = self.maximum_error + self.maximum_error_percent / 100 * abs(value)
        if self.tape_class is not None:
            error += tape_maximum_permissible_error_mm(self.tape_class, value)
        return error

    def standard_uncertainty(self, value: float) -> float:
        """Return the instrument's part of a reading's standard uncertainty.

        u² = MPE²/3 + resolution²/12 + certificate²: error and rounding are taken as equally
        likely anywhere within their bounds (GUM 4.3.7).
        """
        return math.sqrt(
            self.maximum_permissible_error(value) ** 2 / 3
            + self.resolution**2 / 12
            + self.certificate_uncertainty**2
        )

    def finest_of_its_kind(self) -> Instrument | None:
        """Return the same tape in class I, or None when there is nothing finer to name."""
        if self.tape_class in (None, TapeClass.I):
            return None
        return replace(self, tape_class=TapeClass.I)

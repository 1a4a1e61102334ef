"""Words that a record uses for verdicts, states and moments. Imports no Django."""

from __future__ import annotations

from datetime import datetime
from typing import Final

_NEARLY_SURE = 0.9995
_MONTHS: Final = (
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
)  # fmt: skip


def probability_in_words(probability: float) -> str:
    """How likely a value lies within its limits, never rounded up to certainty."""
    if probability >= _NEARLY_SURE:
        return "more than 99.9 % sure within the limits"
    if probability <= 1 - _NEARLY_SURE:
        return "less than 0.1 % sure within the limits"
    return f"{probability * 100:.1f} % sure within the limits"


def moment_in_words(moment: str) -> str:
    """``25 Nov 2026, 08:41`` of an ISO moment, on the clock it carries; "" of none."""
    if not moment:
        return ""
    at = datetime.fromisoformat(moment)
    return f"{at.day} {_MONTHS[at.month - 1]} {at.year}, {at:%H:%M}"


def time_in_words(moment: str) -> str:
    """``08:41`` of an ISO moment."""
    return f"{datetime.fromisoformat(moment):%H:%M}" if moment else ""


def date_in_words(day: str) -> str:
    """``25 Nov 2026`` of an ISO date."""
    return moment_in_words(f"{day}T00:00").partition(",")[0] if day else ""


def state_in_words(state: str) -> str:
    """``checked in`` of ``checked_in``."""
    return state.replace("_", " ")

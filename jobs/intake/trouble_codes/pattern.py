"""Patterns for codes that forbid a calibration: "U0*", "C1A2?", "B16A1-23"."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from jobs.intake.trouble_codes.form import CodeRefused, TroubleCode

PATTERN: Final = re.compile(r"(?=[^-]{1,5}(?:-|$))[PCBU?*][0-9A-F?*]*(?:-[0-9A-F?*]{1,2})?")


def check_pattern(text: str) -> str:
    """The pattern in capitals, with a hyphen before the failure type.

    Refused rather than left to match nothing: a mistyped pattern would let a vehicle through.

    Raises:
        CodeRefused: not a pattern, or one that can match no code.
    """
    pattern = text.strip().upper().replace(":", "-")
    base = pattern.split("-")[0]
    whole = "*" in base or len(base) == 5
    second = base[1:2]
    if not PATTERN.fullmatch(pattern) or not whole or second not in ("", *"0123?*"):
        raise CodeRefused(
            "pattern",
            f"{text.strip()[:40]!r} is not a pattern for trouble codes",
            "a code with * for any ending or ? for any one character, like U0* or C1A2?",
        )
    return pattern


def is_blocking(code: TroubleCode, rules: Iterable[str]) -> bool:
    """Whether any pattern fits; one without a failure type fits every failure type.

    A pattern that names a failure type also fits a code read without one: it may be that one.

    Raises:
        CodeRefused: a rule is not a pattern.
    """
    return any(_fits(code, pattern) for pattern in map(check_pattern, list(rules)))


def _fits(code: TroubleCode, pattern: str) -> bool:
    base, _, failure_type = pattern.partition("-")
    if not _expression(base).fullmatch(code.code):
        return False
    if not failure_type or code.failure_type is None:
        return True
    return _expression(failure_type).fullmatch(code.failure_type) is not None


def _expression(pattern: str) -> re.Pattern[str]:
    return re.compile(pattern.replace("?", ".").replace("*", ".*"))

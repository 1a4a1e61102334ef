"""Tables and arithmetic of the vehicle identification number, 49 CFR 565.15.

Values of letters: Table III. Weights of positions: Table IV. Model year codes: Table VII.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

LENGTH: Final = 17
CHECK_DIGIT_AT: Final = 9
YEAR_AT: Final = 10

DIGITS: Final = "0123456789"
LETTERS: Final = "ABCDEFGHJKLMNPRSTUVWXYZ"
LETTER_VALUES: Final = dict(zip(LETTERS, map(int, "12345678123457923456789"), strict=True))
VALUES: Final = LETTER_VALUES | {digit: int(digit) for digit in DIGITS}
WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)

# I, O, Q are in no VIN; U, Z and 0 are not used for a model year.
YEAR_CODES: Final = "ABCDEFGHJKLMNPRSTVWXY123456789"
FIRST_CYCLE: Final = 1980
CYCLE_YEARS: Final = len(YEAR_CODES)

# Letters no VIN holds, and what the plate nearly always shows in their place
# (common practice, no source).
SLIPS: Final = {"O": "0", "Q": "0", "I": "1"}
# Pairs that are misread on a worn or stamped plate (common practice, no source).
LOOK_ALIKES: Final = ("B8", "S5", "Z2", "G6", "D0", "UV", "17")


def weighted_sum(text: str) -> int:
    """Sum of value times weight over 17 characters; position 9 has weight zero and is not read.

    Raises:
        KeyError: a character outside Table III.
    """
    return sum(VALUES[char] * weight for char, weight in zip(text, WEIGHTS, strict=True) if weight)


def check_digit(text: str) -> str:
    """The check digit the other sixteen characters ask for: the remainder by 11, X for ten."""
    remainder = weighted_sum(text) % 11
    return "X" if remainder == 10 else str(remainder)


def years_of(code: str) -> tuple[int, ...]:
    """Both model years a code stands for, 30 years apart; none for U, Z and 0."""
    at = YEAR_CODES.find(code)
    return () if at < 0 else (FIRST_CYCLE + at, FIRST_CYCLE + CYCLE_YEARS + at)


def near_misses(text: str) -> Iterator[tuple[str, str]]:
    """Readings one slip away from a VIN, each with the slip in words.

    Two neighbours the wrong way round first, then one look-alike character.
    """
    for at in range(LENGTH - 1):
        one, other = text[at], text[at + 1]
        if one != other:
            swapped = text[:at] + other + one + text[at + 2 :]
            yield swapped, f"positions {at + 1} and {at + 2} the other way round"
    for at, char in enumerate(text):
        for pair in LOOK_ALIKES:
            if char in pair:
                twin = pair.replace(char, "")
                changed = text[:at] + twin + text[at + 1 :]
                yield changed, f"position {at + 1} {twin} instead of {char}"

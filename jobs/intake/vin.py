"""Check a vehicle identification number as typed or scanned.

Source: 49 CFR Part 565 (565.13 characters and length, 565.15 sections, check digit and
model year). Regions of the first character: ISO 3780, from memory. The maker's own
sections are kept as text: only the maker can say what they mean.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from jobs.intake import vin_form as form

REGIONS: Final = {
    "ABCDEFGH": "Africa",
    "JKLMNPR": "Asia",
    "STUVWXYZ": "Europe",
    "12345": "North America",
    "67": "Oceania",
    "89": "South America",
}
# 7F to 70 were given to the United States when its codes ran short (ISO 3780, from memory).
OCEANIA_SECONDS: Final = "ABCDE"
SHOWN_AT_MOST: Final = 40
OFFERED_AT_MOST: Final = 3


class VinRefused(Exception):
    """The text is not a VIN that can be taken as it stands.

    `code` is stable, `position` counts from 1 (None: the whole text), `right` says what would
    put it right, `candidates` are readings that fit and must be compared with the plate.
    """

    def __init__(
        self,
        code: str,
        position: int | None,
        says: str,
        right: str,
        candidates: tuple[str, ...] = (),
    ) -> None:
        super().__init__(says)
        self.code = code
        self.position = position
        self.says = says
        self.right = right
        self.candidates = candidates


@dataclass(frozen=True)
class Position:
    number: int
    char: str
    means: str


@dataclass(frozen=True)
class Vin:
    """A VIN taken apart. `notes` tell what was stripped, `warnings` what deserves a second look."""

    text: str
    wmi: str
    vds: str
    vis: str
    region: str
    low_volume_maker: bool
    maker_id: str
    check_digit_right: bool
    expected_check_digit: str
    model_years: tuple[int, ...]
    model_year: int | None
    plant: str
    serial: str
    positions: tuple[Position, ...]
    notes: tuple[str, ...]
    warnings: tuple[str, ...]


def check(text: str, *, light: bool = True, confirmed: bool = False) -> Vin:
    """Check and take apart a VIN.

    Spaces, hyphens, bar-code asterisks and an import mark "I" before 17 characters are left
    off with a note; no other character is ever changed. `light` means a passenger car, or a
    multipurpose vehicle or truck up to 4536 kg (10,000 lb) GVWR: only there does position 7
    tell the model year's cycle. `confirmed` means a person compared the VIN with the plate
    and it stands as typed, so a wrong check digit or year code becomes a warning.

    A wrong check digit is refused for a North American VIN and a warning for any other,
    because the check digit is not required outside 49 CFR 565.

    Raises:
        VinRefused: wrong length, a character no VIN holds, a wrong check digit or year code.
    """
    clean, notes = _stripped(text)
    _refuse_wrong_length(clean)
    _refuse_foreign_characters(clean)
    region = region_of(clean)
    expected = form.check_digit(clean)
    right = clean[form.CHECK_DIGIT_AT - 1] == expected
    strict = region == "North America" and not confirmed
    if strict and not form.years_of(clean[form.YEAR_AT - 1]):
        raise _year_refusal(clean)
    if strict and not right:
        raise _check_digit_refusal(clean, expected)
    # Elsewhere position 10 need not be a model year; a right check digit speaks for the rule.
    by_rule = region == "North America" or right
    warnings = _warnings(clean, region, expected, right, light)
    return _taken_apart(clean, region, expected, right, light and by_rule, notes, warnings)


def region_of(text: str) -> str:
    """The world region of the first character, or "not assigned"."""
    if text[0] == "7" and text[1] not in OCEANIA_SECONDS:
        return "North America"
    for chars, region in REGIONS.items():
        if text[0] in chars:
            return region
    return "not assigned"


def _stripped(text: str) -> tuple[str, tuple[str, ...]]:
    notes: list[str] = []
    clean = text.strip()
    if clean.strip("*") != clean:
        notes.append("bar-code asterisks were left off")
        clean = clean.strip("*").strip()
    if any(char.isspace() or char == "-" for char in clean):
        notes.append("spaces and hyphens were left off")
        clean = "".join(char for char in clean if not char.isspace() and char != "-")
    # Only plain letters: capitalising others can change how many characters there are.
    clean = "".join(char.upper() if char.isascii() else char for char in clean)
    if len(clean) == form.LENGTH + 1 and clean[0] == "I":
        notes.append("a leading I, the import mark of a bar code, was left off")
        clean = clean[1:]
    return clean, tuple(notes)


def _refuse_wrong_length(clean: str) -> None:
    if not clean:
        raise VinRefused("empty", None, "there is no VIN", "17 letters and digits from the plate")
    off = len(clean) - form.LENGTH
    if off == 0:
        return
    shown = clean if len(clean) <= SHOWN_AT_MOST else clean[:SHOWN_AT_MOST] + "…"
    amount = f"{abs(off)} too {'many' if off > 0 else 'few'}"
    raise VinRefused(
        "length",
        None,
        f"{shown} has {len(clean)} characters, {amount}",
        "17 characters; vehicles built before 1981 may carry a shorter number, "
        "which is kept as the vehicle's other number",
    )


def _refuse_foreign_characters(clean: str) -> None:
    wrong = [(at, char) for at, char in enumerate(clean, 1) if char not in form.VALUES]
    if not wrong:
        return
    at, char = wrong[0]
    if not all(bad in form.SLIPS for _, bad in wrong):
        at, char = next((at, bad) for at, bad in wrong if bad not in form.SLIPS)
        says = f"position {at} is {char!r}, which no VIN holds"
        raise VinRefused("character", at, says, "capital letters without I, O, Q, and digits")
    fixed = "".join(form.SLIPS.get(char, char) for char in clean)
    places = ", ".join(f"{form.SLIPS[bad]} in position {at}" for at, bad in wrong)
    right = f"{places}, if the plate shows it"
    fits = fixed[form.CHECK_DIGIT_AT - 1] == form.check_digit(fixed)
    if fits:
        right += f"; the check digit is then right: {fixed}"
    raise VinRefused(
        "character",
        at,
        f"position {at} is the letter {char}; no VIN holds I, O or Q",
        right,
        (fixed,) if fits else (),
    )


def _year_refusal(clean: str) -> VinRefused:
    char = clean[form.YEAR_AT - 1]
    return VinRefused(
        "model_year",
        form.YEAR_AT,
        f"position 10 is {char}, which stands for no model year",
        "a letter without I, O, Q, U, Z, or a digit 1 to 9; compare with the plate, and "
        "confirm if it really shows this",
    )


def _check_digit_refusal(clean: str, expected: str) -> VinRefused:
    fits = [
        (text, slip)
        for text, slip in form.near_misses(clean)
        if text[form.CHECK_DIGIT_AT - 1] == form.check_digit(text)
        and form.years_of(text[form.YEAR_AT - 1])
        and text[14:].isdigit()
    ][:OFFERED_AT_MOST]
    right = "compare every character with the plate"
    if fits:
        right += "; it would fit with " + ", or ".join(slip for _, slip in fits)
    return VinRefused(
        "check_digit",
        form.CHECK_DIGIT_AT,
        f"position 9 is {clean[form.CHECK_DIGIT_AT - 1]}, but the other characters ask for "
        f"{expected}: at least one character is wrong",
        right + "; confirm if the plate really shows this",
        tuple(text for text, _ in fits),
    )


def _warnings(clean: str, region: str, expected: str, right: bool, light: bool) -> tuple[str, ...]:
    says: list[str] = []
    if not right and region == "North America":
        says.append(f"position 9 should be {expected}; taken as confirmed from the plate")
    elif not right:
        says.append(
            f"position 9 would be {expected} under the North American rule; a VIN from "
            f"{region if region != 'not assigned' else 'elsewhere'} need not follow it, so "
            "compare it with the plate"
        )
    if not form.years_of(clean[form.YEAR_AT - 1]):
        says.append("position 10 stands for no model year")
    if region == "not assigned":
        says.append(f"the first character {clean[0]} is assigned to no region")
    digits_from = 13 if light else 14
    letters = [at for at in range(digits_from, 18) if not clean[at - 1].isdigit()]
    if letters and region == "North America":
        says.append(
            f"position {', '.join(map(str, letters))} should be a digit (49 CFR 565.15(d), "
            "from memory)"
        )
    if len(set(clean)) == 1:
        says.append("every character is the same: this looks like a filler")
    return tuple(says)


def _taken_apart(
    clean: str,
    region: str,
    expected: str,
    right: bool,
    year_by_position_7: bool,
    notes: tuple[str, ...],
    warnings: tuple[str, ...],
) -> Vin:
    years = form.years_of(clean[form.YEAR_AT - 1])
    year = None
    if years and year_by_position_7:
        # Note to Table VII: position 7 numeric is 1980-2009, alphabetic is 2010-2039.
        year = years[0] if clean[6].isdigit() else years[1]
    low_volume = clean[2] == "9"
    return Vin(
        text=clean,
        wmi=clean[:3],
        vds=clean[3:9],
        vis=clean[9:],
        region=region,
        low_volume_maker=low_volume,
        maker_id=clean[:3] + (clean[11:14] if low_volume else ""),
        check_digit_right=right,
        expected_check_digit=expected,
        model_years=years,
        model_year=year,
        plant=clean[10],
        serial=clean[14:] if low_volume else clean[11:],
        positions=tuple(
            Position(at, char, _means(at, char, region, low_volume, year, years))
            for at, char in enumerate(clean, 1)
        ),
        notes=notes,
        warnings=warnings,
    )


def _means(
    at: int, char: str, region: str, low_volume: bool, year: int | None, years: tuple[int, ...]
) -> str:
    cycle = "1980 to 2009" if char.isdigit() else "2010 to 2039"
    maker = "maker identifier, assigned to the maker"
    special = {
        1: f"{maker}, region {region}",
        3: f"{maker}, 9: a maker of few vehicles" if low_volume else maker,
        7: "described by the maker" + (f"; model years {cycle}" if year is not None else ""),
        form.CHECK_DIGIT_AT: "check digit",
        form.YEAR_AT: f"model year code: {year or ' or '.join(map(str, years)) or 'none'}",
        11: "plant, the maker's own code",
    }
    if at in special:
        return special[at]
    if at < 3 or (low_volume and at in (12, 13, 14)):
        return maker
    return "described by the maker" if at < form.CHECK_DIGIT_AT else "serial number"

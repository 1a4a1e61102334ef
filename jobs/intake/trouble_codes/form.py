"""The form of a trouble code: SAE J2012 / ISO 15031-6, two bytes and a failure type byte.

Bits 15-14 of the two bytes are the letter, 13-12 the first digit, the rest three
hexadecimal digits. Who controls a range: the groups of SAE J2012; the split of P3 at P34
is from memory.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

LETTERS: Final = "PCBU"
SYSTEMS: Final = {"P": "powertrain", "C": "chassis", "B": "body", "U": "network"}
STANDARD, MAKER, RESERVED = "standard", "maker", "reserved"
CONTROL: Final = {
    "P0": STANDARD, "P1": MAKER, "P2": STANDARD,
    "C0": STANDARD, "C1": MAKER, "C2": MAKER, "C3": RESERVED,
    "B0": STANDARD, "B1": MAKER, "B2": MAKER, "B3": RESERVED,
    "U0": STANDARD, "U1": MAKER, "U2": MAKER, "U3": RESERVED,
}  # fmt: skip
CONTROL_WORDS: Final = {
    STANDARD: "its meaning is set by the standard",
    MAKER: "its meaning is set by the vehicle maker",
    RESERVED: "in a range the standard reserves",
}
FORM: Final = re.compile(r"([PCBU])([0-3])([0-9A-F]{3})(?:[-:]([0-9A-F]{2}))?")
SLIPS: Final = str.maketrans("OQIL", "0011")
EXAMPLE: Final = "a letter P, C, B or U, a digit 0 to 3 and three characters 0-9 or A-F, like C1A2B"


class CodeRefused(Exception):
    """The text or bytes are not a trouble code; `right` says what would be."""

    def __init__(self, code: str, says: str, right: str) -> None:
        super().__init__(says)
        self.code = code
        self.says = says
        self.right = right


@dataclass(frozen=True)
class TroubleCode:
    """One code. `controlled_by` is "standard", "maker" or "reserved"."""

    code: str
    failure_type: str | None
    system: str
    controlled_by: str
    says: str

    @property
    def text(self) -> str:
        return self.code if self.failure_type is None else f"{self.code}-{self.failure_type}"

    @property
    def is_filler(self) -> bool:
        """P0000 fills unused places in an answer and stands for no fault."""
        return self.code == "P0000"

    def to_bytes(self) -> bytes:
        """Two bytes, or three with the failure type."""
        first = (LETTERS.index(self.code[0]) << 6) | int(self.code[1]) << 4 | int(self.code[2], 16)
        return bytes((first, int(self.code[3:], 16))) + bytes.fromhex(self.failure_type or "")


def parse(text: str) -> TroubleCode:
    """Read one code, such as C1A2B, C1A2B-16 or C1A2B:16. Small letters count as capitals.

    Raises:
        CodeRefused: anything else; a common slip (O for 0) is offered, never made.
    """
    plain = text.strip()
    typed = plain.upper() if plain.isascii() else plain
    match = FORM.fullmatch(typed)
    if match is None:
        raise _refusal(plain[:40], typed)
    letter, digit, rest, failure_type = match.groups()
    return _code(letter + digit + rest, failure_type)


def from_bytes(first: int, second: int, failure_type: int | None = None) -> TroubleCode:
    """Read a code from the bytes a vehicle sends (0x96, 0xA1 is B16A1).

    Raises:
        CodeRefused: a number that is not one byte.
    """
    for byte in (first, second, failure_type):
        if byte is not None and not 0 <= byte <= 0xFF:
            raise CodeRefused("byte", f"{byte} is not a byte", "0 to 255 (0x00 to 0xFF)")
    text = f"{LETTERS[first >> 6]}{first >> 4 & 3}{first & 15:X}{second:02X}"
    return _code(text, None if failure_type is None else f"{failure_type:02X}")


def _code(text: str, failure_type: str | None) -> TroubleCode:
    system = SYSTEMS[text[0]]
    control = CONTROL.get(text[:2]) or (MAKER if text[2] in "0123" else STANDARD)
    says = f"{system} code, {CONTROL_WORDS[control]}"
    if failure_type is not None:
        says += f", failure type {failure_type}"
    return TroubleCode(text, failure_type, system, control, says)


def _refusal(shown: str, typed: str) -> CodeRefused:
    if not typed:
        return CodeRefused("empty", "there is no code", EXAMPLE)
    return _offering(shown, typed) or _explaining(shown, typed)


def _offering(shown: str, typed: str) -> CodeRefused | None:
    """The refusal that can name the one reading meant, if there is one."""
    fixed = typed[0] + typed[1:].translate(SLIPS)
    if FORM.fullmatch(fixed):
        says = f"{shown} has a letter where a digit belongs"
        return CodeRefused("slip", says, f"{fixed}, if that is what the scan tool shows")
    bare = re.fullmatch(r"(?:0X)?([0-9A-F]{4})([0-9A-F]{2})?", typed)
    if bare:
        numbers = bytes.fromhex(bare[1] + (bare[2] or ""))
        says = f"{shown} has no letter in front"
        return CodeRefused("no_letter", says, f"{from_bytes(*numbers).text}, if these are bytes")
    if re.fullmatch(r"[PCBU][0-3][0-9A-F]{5}", typed):
        says = f"{shown} has no mark before the failure type"
        return CodeRefused("failure_type", says, f"{typed[:5]}-{typed[5:]}")
    return None


def _explaining(shown: str, typed: str) -> CodeRefused:
    if re.match(r"[PCBU][4-9]", typed):
        says = f"{shown}: the second character must be 0 to 3"
        return CodeRefused("digit", says, EXAMPLE)
    if typed[0] not in LETTERS:
        return CodeRefused("letter", f"{shown} does not start with P, C, B or U", EXAMPLE)
    if FORM.match(typed):
        says = f"{shown}: {typed[5:]} does not belong to a code"
        right = f"{typed[:5]}, or {typed[:5]}-16 with a failure type of two characters"
        return CodeRefused("failure_type", says, right)
    return CodeRefused("form", f"{shown} is not a trouble code", EXAMPLE)

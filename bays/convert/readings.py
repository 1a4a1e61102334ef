"""Tables of readings as people paste them: x, y and what was read there, a line each."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final, NamedTuple

_MINUS: Final = str.maketrans({"−": "-", "–": "-", "\u00a0": " ", "\u202f": " "})
_NUMBER: Final = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?\Z")
_SEPARATORS: Final = ("\t", ";", ",", " ")


class Row(NamedTuple):
    """One reading, with the line of the table it stands in (from 1)."""

    line: int
    x: float
    y: float
    value: float


class RowFault(NamedTuple):
    line: int
    says: str


@dataclass(frozen=True)
class Readings:
    """What a table holds, in the units it was typed in, and what could not be read."""

    rows: tuple[Row, ...]
    faults: tuple[RowFault, ...]

    def line_of(self, index: int) -> int:
        """The line of a reading by its place among ``rows``."""
        return self.rows[index].line


def parse_readings(text: str) -> Readings:
    """Read a table of three columns, parted by tabs, semicolons, commas or spaces.

    The decimal sign is a dot, or a comma where commas do not part the columns. A first line
    without numbers is a heading; a name before the three columns, empty lines and lines that begin
    with # are passed over. Every line that cannot be read is told.
    """
    lines = [
        (number, line.translate(_MINUS).strip())
        for number, line in enumerate(text.splitlines(), start=1)
    ]
    lines = [(number, line) for number, line in lines if line and not line.startswith("#")]
    separator = _separator([line for _, line in lines])
    rows: list[Row] = []
    faults: list[RowFault] = []
    for place, (number, line) in enumerate(lines):
        cells = _cells(line, separator)
        numbers = [_number(cell, comma=separator != ",") for cell in cells]
        if place == 0 and not any(value is not None for value in numbers[-3:]):
            continue  # the heading
        fault = _fault(cells, numbers)
        if fault:
            faults.append(RowFault(number, fault))
        else:
            x, y, read = (value for value in numbers[-3:] if value is not None)
            rows.append(Row(number, x, y, read))
    return Readings(tuple(rows), tuple(faults))


def _separator(lines: list[str]) -> str:
    """The sign by which most lines are readings; of equals the least likely by chance."""

    def parted(separator: str) -> int:
        rows = (_cells(line, separator) for line in lines)
        return sum(
            not _fault(cells, [_number(cell, comma=separator != ",") for cell in cells])
            for cells in rows
        )

    return max(_SEPARATORS, key=lambda sign: (parted(sign), -_SEPARATORS.index(sign)))


def _cells(line: str, separator: str) -> list[str]:
    cells = line.split() if separator == " " else line.split(separator)
    return [cell.strip().strip('"') for cell in cells]


def _number(cell: str, *, comma: bool) -> float | None:
    if not _NUMBER.match(cell) or ("," in cell and not comma):
        return None
    value = float(cell.replace(",", "."))
    return value if math.isfinite(value) else None


def _fault(cells: list[str], numbers: list[float | None]) -> str:
    if len(cells) not in (3, 4) or (len(cells) == 4 and numbers[0] is not None):
        return f"has {len(cells)} column{'s' * (len(cells) != 1)}, not three"
    wrong = [cell for cell, value in zip(cells[-3:], numbers[-3:], strict=True) if value is None]
    if not wrong:
        return ""
    return f"“{wrong[0][:30]}” is no number" if wrong[0] else "has an empty column"

"""Reading loosely typed sections: what is wrong is noted with its path, and reading goes on."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from datetime import date, time
from typing import Any, Final, NamedTuple, TypeVar

from bays.floor.faults import FaultList
from bays.services.checks import code_faults, text_faults
from shopcal.errors import FieldError, Invalid

MOST_ROWS: Final = 5_000
WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_TIME: Final = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(:00)?\Z")

Read = TypeVar("Read")


class DocumentFaults(Invalid):
    """A shop file that cannot be brought in; ``errors`` names every fault with its path."""

    def __init__(self, errors: Sequence[FieldError]) -> None:
        super().__init__(
            "document_faults",
            "The shop file has faults.",
            detail="Nothing was changed.",
            errors=errors,
        )


class Entry(NamedTuple):
    """One row of a list, with its place."""

    path: str
    fields: Mapping[str, Any]


class Faults(FaultList):
    """The readers of a floor plan, and those a shop file needs besides.

    A reader answers None for a value it could not use; the fault is noted by then.
    """

    def extend(self, path: str, errors: Iterable[FieldError]) -> bool:
        """Note faults found by a rule below ``path``; whether there were any."""
        errors = list(errors)
        for error in errors:
            joint = "." if path and error.path and not error.path.startswith("[") else ""
            self.note(f"{path}{joint}{error.path}", error.says, error.right)
        return bool(errors)

    def entries(
        self, value: object, path: str, *, needed: Collection[str], may: Collection[str] = ()
    ) -> list[Entry]:
        """The rows of a list that are groups of fields, each with its place."""
        found = []
        for index, row in enumerate(self.rows(value, path, at_most=MOST_ROWS)):
            place = f"{path}[{index}]"
            fields = self.keys(row, place, needed=needed, may=may)
            if fields is not None:
                found.append(Entry(place, fields))
        return found

    def given(
        self, entry: Entry, name: str, read: Callable[[object, str], Read | None]
    ) -> Read | None:
        """Read a field that is there; one that is missing is noted elsewhere, or may be."""
        if name not in entry.fields:
            return None
        return read(entry.fields[name], f"{entry.path}.{name}")

    def code(self, value: object, path: str) -> str | None:
        if not isinstance(value, str):
            self.note(path, "is no text", "a code in letters, digits, - or _")
            return None
        return None if self.extend("", code_faults(path, value)) else value

    def words(
        self, value: object, path: str, *, at_most: int = 120, needed: bool = True
    ) -> str | None:
        if not isinstance(value, str):
            self.note(path, f"is {value!r:.40}, no text", "a text, in quotes if it is a number")
            return None
        return None if self.extend("", text_faults(path, value, at_most, needed=needed)) else value

    def day(self, value: object, path: str) -> date | None:
        try:
            return date.fromisoformat(value if isinstance(value, str) else "")
        except ValueError:
            self.note(path, f"“{value!s:.40}” is no day of the calendar", "such as 2026-03-31")
            return None

    def clock(self, value: object, path: str) -> time | None:
        """A time of day to the minute."""
        if isinstance(value, int) and not isinstance(value, bool):
            hour, minute = divmod(value, 60)
            likely = f"{hour:02}:{minute:02}" if 0 <= hour < 24 else "12:00"
            says = f"is the number {value}: without quotes YAML takes a time for a number"
            self.note(path, says, f'a time in quotes: "{likely}"')
            return None
        match = _TIME.match(value) if isinstance(value, str) else None
        if match is None:
            self.note(path, f"“{value!s:.40}” is no time of day", 'such as "08:00", up to "23:59"')
            return None
        return time(int(match[1]), int(match[2]))

    def weekdays(self, value: object, path: str) -> list[int]:
        """Numbers of the weekdays named, 0 for Monday, each once."""
        found: list[int] = []
        rows = self.rows(value, path, at_most=7)
        if value == []:
            self.note(path, "names no day", f"some of {', '.join(WEEKDAYS)}")
        for index, row in enumerate(rows):
            name = self.choice(row, f"{path}[{index}]", WEEKDAYS)
            if name is None:
                continue
            if WEEKDAYS.index(name) in found:
                self.note(f"{path}[{index}]", f"“{name}” is there twice")
            else:
                found.append(WEEKDAYS.index(name))
        return found

    def flag(self, value: object, path: str) -> bool | None:
        if not isinstance(value, bool):
            self.note(path, f"is {value!r:.40}", "true or false")
            return None
        return value

    def count(self, value: object, path: str, *, least: int = 0) -> int | None:
        if isinstance(value, bool) or not isinstance(value, int):
            self.note(path, f"is {value!r:.40}", "a whole number")
            return None
        if not least <= value <= 1_000_000:
            self.note(path, f"is {value}", f"a whole number from {least} to 1000000")
            return None
        return value

    def once(self, path: str, code: str | None, seen: dict[str, str]) -> None:
        """Note a code that an earlier entry has already."""
        if code is None:
            return
        if code in seen:
            self.note(path, f"“{code}” is the code of {seen[code]} too", "another code")
        else:
            seen[code] = path.rpartition(".")[0]

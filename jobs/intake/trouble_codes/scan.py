"""What reading a scan gives: entries, and every line that could not be read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final

from jobs.intake.trouble_codes.form import CodeRefused, TroubleCode, parse

# Strongest first: two readings of one code keep the stronger status.
STATUSES: Final = ("active", "permanent", "stored", "pending", "history", "")
SYNONYMS: Final = {"current": "active", "confirmed": "stored", "past": "history"}
CHARACTERS_AT_MOST: Final = 1_000_000


@dataclass(frozen=True)
class ScanEntry:
    """One code of one module; `module` and `status` are "" where not told."""

    module: str
    code: TroubleCode
    status: str = ""
    line: int | None = None
    description: str = ""


@dataclass(frozen=True)
class LineError:
    """A line that was not taken over. `where` is a path for formats without lines."""

    line: int | None
    code: str
    says: str
    right: str
    where: str = ""


@dataclass(frozen=True)
class ScanParse:
    """`merged` counts entries that repeated an earlier one."""

    entries: tuple[ScanEntry, ...]
    errors: tuple[LineError, ...]
    merged: int = 0


@dataclass
class Collector:
    """Gathers entries in order, merging repeats, and errors with their place."""

    entries: dict[tuple[str, str], ScanEntry] = field(default_factory=dict)
    errors: list[LineError] = field(default_factory=list)
    merged: int = 0

    def add(self, entry: ScanEntry) -> None:
        key = (entry.module.casefold(), entry.code.text)
        earlier = self.entries.get(key)
        if earlier is None:
            self.entries[key] = entry
            return
        self.merged += 1
        self.entries[key] = replace(
            earlier,
            status=min(earlier.status, entry.status, key=STATUSES.index),
            description=earlier.description or entry.description,
        )

    def refuse(self, line: int | None, code: str, says: str, right: str, where: str = "") -> None:
        self.errors.append(LineError(line, code, says, right, where))

    def code(self, text: str, line: int | None, where: str = "") -> TroubleCode | None:
        """The code in a text, or None after noting why not."""
        try:
            code = parse(text)
        except CodeRefused as refused:
            self.refuse(line, refused.code, refused.says, refused.right, where)
            return None
        if code.is_filler:
            says = "P0000 is a filler and stands for no fault"
            self.refuse(line, "filler", says, "leave it out", where)
            return None
        return code

    def status(self, text: str, line: int | None, where: str = "") -> str | None:
        """The status in our words, or None after noting why not."""
        status = status_of(text)
        if status is None:
            right = ", ".join(filter(None, STATUSES)) + ", or empty"
            self.refuse(line, "status", f"{text.strip()[:40]!r} is not a status", right, where)
        return status

    def result(self) -> ScanParse:
        return ScanParse(tuple(self.entries.values()), tuple(self.errors), self.merged)


def status_of(text: str) -> str | None:
    """A status word in our words; None for any other word."""
    word = text.strip().casefold()
    word = SYNONYMS.get(word, word)
    return word if word in STATUSES else None


def too_long(text: str) -> ScanParse | None:
    """The refusal of a text nobody could have scanned, so that reading stays quick."""
    if len(text) <= CHARACTERS_AT_MOST:
        return None
    says = f"the text has more than {CHARACTERS_AT_MOST:,} characters"
    return ScanParse((), (LineError(None, "too_long", says, "one vehicle's scan at a time"),))


def one_line(words: Iterable[str]) -> str:
    return " ".join(" ".join(words).split())

"""What an import did, for people and for programs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from bays.services.put import Outcome


@dataclass(frozen=True)
class Counts:
    """How many things of one kind were added, changed, or were already so."""

    added: int = 0
    changed: int = 0
    unchanged: int = 0

    def says(self) -> str:
        parts = [f"{self.added} added", f"{self.changed} changed", f"{self.unchanged} as before"]
        told = [part for part in parts if not part.startswith("0 ")]
        return ", ".join(told) or "nothing in it"


@dataclass(frozen=True)
class ImportSummary:
    """Counts by kind of thing, in the order of the document."""

    counts: Mapping[str, Counts]

    @property
    def anything_changed(self) -> bool:
        return any(count.added or count.changed for count in self.counts.values())

    def says(self) -> tuple[str, ...]:
        """One line a kind: ``technicians: 4 added``."""
        return tuple(f"{kind}: {count.says()}" for kind, count in self.counts.items())


@dataclass
class Tally:
    """Counts outcomes while sections are brought in."""

    _found: dict[str, Counter[Outcome]] = field(default_factory=dict)

    def add(self, kind: str, *outcomes: Outcome) -> None:
        """Count one thing: added if any part of it says so, else changed if any part was."""
        for outcome in (Outcome.ADDED, Outcome.CHANGED, Outcome.UNCHANGED):
            if outcome in outcomes:
                self._found.setdefault(kind, Counter())[outcome] += 1
                return

    def summary(self) -> ImportSummary:
        return ImportSummary(
            {
                kind: Counts(found[Outcome.ADDED], found[Outcome.CHANGED], found[Outcome.UNCHANGED])
                for kind, found in self._found.items()
            }
        )

"""The parts of a shop file. Apps above this one register theirs, so nothing is imported upward."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, Final
from zoneinfo import ZoneInfo

from bays.transfer.faults import Faults
from bays.transfer.summary import Tally
from shopcal.accounts.actor import Actor


@dataclass
class Reading:
    """What sections know while they are read: the shop, the faults so far, the codes in the file.

    ``known`` holds what the shop or the file has, by kind (``skill``), for sections that name it.
    ``zone`` is the clock the shop will have: the file's, where it sets one.
    """

    shop_id: int
    zone: ZoneInfo
    faults: Faults = field(default_factory=Faults)
    _codes: dict[str, set[str]] = field(default_factory=dict)

    def known(self, kind: str, stored: Iterable[str] = ()) -> set[str]:
        """Codes of this kind; ``stored`` adds those the shop has already."""
        codes = self._codes.setdefault(kind, set())
        codes.update(stored)
        return codes


@dataclass(frozen=True)
class Section:
    """One part of the document, by its field's name.

    ``read`` notes every fault in ``reading.faults`` and answers what ``apply`` takes; it changes
    nothing. ``apply`` runs in the import's transaction, only where no section has a fault, and
    calls services. ``export`` answers the field's value, or None where the shop has nothing.
    Sections are read and applied in the order they were registered.
    """

    key: str
    read: Callable[[Any, Reading], Any]
    apply: Callable[[Actor, Any, Tally], None]
    export: Callable[[int], Any]


_sections: Final[dict[str, Section]] = {}


def register(section: Section) -> None:
    """Add a section; registering the same field again replaces it, in its old place."""
    _sections[section.key] = section


def sections() -> tuple[Section, ...]:
    return tuple(_sections.values())

"""What the page at the vehicle knows when it is drawn or acted on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.http import QueryDict

from jobs.metrology import Units
from jobs.models import Calibration, Visit
from jobs.pages.moments import ShopWords
from jobs.pages.work.worksheet import Typed
from jobs.selectors.facts import AttemptState
from jobs.selectors.procedures import content_of
from jobs.selectors.worksheets import units_of
from shopcal.accounts.actor import Actor
from shopcal.errors import FieldError, NotFound, Refusal


@dataclass(frozen=True)
class Refused:
    """An act that was not done: why, and what was typed, so that none of it is lost."""

    act: str
    refusal: Refusal
    post: QueryDict = field(default_factory=QueryDict)
    from_file: bool = False

    @property
    def faults(self) -> dict[str, tuple[str, ...]]:
        """Faults in words, by the name of the field they belong to."""
        found: dict[str, list[str]] = {}
        for error in self.refusal.errors:
            found.setdefault(error.path, []).append(fault_words(error))
        return {path: tuple(words) for path, words in found.items()}

    @property
    def typed(self) -> Typed:
        values = {name: str(self.post.get(name, "")) for name in self.post}
        return Typed(values, self.faults)


def fault_words(error: FieldError) -> str:
    """A fault and what would be right: ``P0O11 has a letter where a digit belongs: P0011``."""
    says = error.says[:1].upper() + error.says[1:]
    if not error.right:
        return says
    return f"{says.rstrip('.')}. {error.right[:1].upper()}{error.right[1:]}"


@dataclass(frozen=True)
class Here:
    """One visit for one person, with the calibration the next act belongs to."""

    by: Actor
    visit: Visit
    calibrations: Sequence[Calibration]
    words: ShopWords
    units: Units
    state: AttemptState | None = None
    refused: Refused | None = None
    ask: str = ""  # a question taken out of turn

    @property
    def today(self) -> date:
        return self.words.today

    @property
    def typed(self) -> Typed:
        return self.refused.typed if self.refused else Typed.nothing()

    def faults(self, *acts: str) -> Mapping[str, tuple[str, ...]]:
        """Faults of these acts, if the refused one is among them."""
        if self.refused is None or self.refused.act not in acts:
            return {}
        return self.refused.faults


def find_visit(shop_id: int, visit_id: int) -> Visit:
    """The visit with what every act needs.

    Raises:
        NotFound: none in this shop.
    """
    visit = (
        Visit.objects.for_shop(shop_id)
        .select_related("vehicle", "shop")
        .filter(pk=visit_id)
        .first()
    )
    if visit is None:
        raise NotFound("no_visit", "There is no such visit in this shop.")
    return visit


def calibrations_of(visit: Visit) -> list[Calibration]:
    """The calibrations of a visit that were not called off, in the order of work."""
    rows = (
        Calibration.objects.for_shop(visit.shop_id)
        .filter(visit=visit)
        .exclude(state="cancelled")
        .select_related("step__technician", "step__second_person", "edition__procedure", "shop")
        .order_by("step__order")
    )
    found = list(rows)
    for calibration in found:
        calibration.visit = visit
    return found


def here_of(
    by: Actor,
    visit: Visit,
    calibrations: Sequence[Calibration],
    *,
    state: AttemptState | None = None,
    refused: Refused | None = None,
    ask: str = "",
) -> Here:
    """Gather what a page needs; ``state`` is the calibration the next act belongs to."""
    return Here(
        by=by,
        visit=visit,
        calibrations=calibrations,
        words=ShopWords.of(visit.shop),
        units=units_of(visit.shop),
        state=state,
        refused=refused,
        ask=ask,
    )


def name_of(calibration: Calibration) -> str:
    return content_of(calibration.edition).name

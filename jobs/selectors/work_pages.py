"""What the pages at the vehicle read: who goes to which vehicle, and what to fetch for it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Q

from bays import upkeep
from bays.models import EquipmentType, EquipmentUnit, Technician
from bays.selectors.equipment import dues_of, units
from jobs.models import Step, Visit

OPEN_STATES = ("booked", "checked_in", "in_work", "on_hold")
AHEAD = timedelta(hours=36)  # further away is the office's business


@dataclass(frozen=True)
class WorkVisit:
    """A vehicle somebody goes to: its steps in order, and those that are theirs."""

    visit: Visit
    steps: tuple[Step, ...]
    own: tuple[Step, ...]

    @property
    def next_own(self) -> Step | None:
        return next((step for step in self.own if step.state in ("doing", "planned")), None)

    @property
    def doing(self) -> bool:
        return any(step.state == Step.State.DOING for step in self.own)

    @property
    def waits_for(self) -> Step | None:
        """A step of somebody else, or of the vehicle, that comes before the next own one."""
        ahead = self.next_own
        if ahead is None:
            return None
        return next(
            (
                step
                for step in self.steps
                if step.order < ahead.order and step.state in ("planned", "doing")
            ),
            None,
        )


@dataclass(frozen=True)
class UnitFitness:
    """A unit and whether it is fit for use today, in a word and in a sentence."""

    unit: EquipmentUnit
    state: str  # fit, due soon, overdue or out of service
    says: str

    @property
    def usable(self) -> bool:
        return self.state in ("fit", "due soon")


def technician_of(shop_id: int, membership_id: int | None) -> Technician | None:
    """The technician who signs in through this membership."""
    if membership_id is None:
        return None
    return Technician.objects.for_shop(shop_id).filter(membership_id=membership_id).first()


def work_visits(shop_id: int, technician: Technician | None, now: datetime) -> list[WorkVisit]:
    """Vehicles with work to do now or soon; of one technician, or of everybody when None.

    What is being done comes first, then by the time the next step starts.
    """
    steps = Step.objects.for_shop(shop_id).filter(state__in=("planned", "doing"))
    if technician is not None:
        steps = steps.filter(Q(technician=technician) | Q(second_person=technician))
    soon = steps.filter(Q(state="doing") | Q(starts_at__isnull=True) | Q(starts_at__lt=now + AHEAD))
    wanted = Q(pk__in=soon.values("visit_id"))
    if technician is not None:
        # All steps done and not yet handed over: whoever did the last one signs it off.
        wanted |= Q(state="in_work", steps__technician=technician)
    else:
        wanted |= Q(state="in_work")
    visits = (
        Visit.objects.for_shop(shop_id)
        .filter(wanted, state__in=OPEN_STATES)
        .distinct()
        .select_related("vehicle")
        .prefetch_related(
            "steps__technician", "steps__second_person", "steps__calibration__edition"
        )
    )
    found = [_work_visit(visit, technician) for visit in visits]
    return sorted(
        (one for one in found if technician is None or one.next_own or _all_done(one)), key=_rank
    )


def unit_fitness(
    shop_id: int, today: date, codes: Iterable[str] | None = None, types: Iterable[str] = ()
) -> list[UnitFitness]:
    """Units of these codes or of these types, with their fitness; fit ones first."""
    wanted = Q()
    if codes is not None:
        wanted |= Q(code__in=list(codes))
    wanted |= Q(type__code__in=list(types))
    found = [_fitness(unit, today) for unit in units(shop_id).filter(wanted)]
    rank = {"fit": 0, "due soon": 1, "overdue": 2, "out of service": 3}
    return sorted(found, key=lambda one: (one.unit.type.name, rank[one.state], one.unit.code))


def names_to_fetch(shop_id: int, steps: Sequence[Step]) -> dict[int, list[str]]:
    """By step: the units the plan holds for it, and what lies about in number, by name."""
    codes = {code for step in steps for code in step.unit_codes}
    held = dict(
        EquipmentUnit.objects.for_shop(shop_id).filter(code__in=codes).values_list("code", "name")
    )
    kinds = dict(EquipmentType.objects.for_shop(shop_id).values_list("code", "name"))
    types_held = dict(
        EquipmentUnit.objects.for_shop(shop_id)
        .filter(code__in=codes)
        .values_list("code", "type__code")
    )
    return {step.pk: _names(step, held, kinds, types_held) for step in steps}


def _names(
    step: Step, held: Mapping[str, str], kinds: Mapping[str, str], types_held: Mapping[str, str]
) -> list[str]:
    names = [held[code] for code in step.unit_codes if code in held]
    have = {types_held[code] for code in step.unit_codes if code in types_held}
    asked = _asked_for(step)
    return [*names, *(f"any {kinds.get(code, code).lower()}" for code in asked if code not in have)]


def _asked_for(step: Step) -> list[str]:
    calibration = getattr(step, "calibration", None)
    if calibration is None:
        return list(step.equipment_codes)
    return [entry["type"] for entry in calibration.edition.content.get("equipment", ())]


def _fitness(unit: EquipmentUnit, today: date) -> UnitFitness:
    if unit.state == EquipmentUnit.State.OUT_OF_SERVICE:
        return UnitFitness(unit, "out of service", unit.state_reason or "out of service")
    rank = {upkeep.DueState.OVERDUE: 0, upkeep.DueState.DUE_SOON: 1, upkeep.DueState.FIT: 2}
    dues = sorted(dues_of(unit, today), key=lambda row: rank[row.due.state])
    if not dues:
        return UnitFitness(unit, "fit", "")
    worst = dues[0]
    return UnitFitness(unit, str(worst.due.state), worst.due.says)


def _work_visit(visit: Visit, technician: Technician | None) -> WorkVisit:
    steps = tuple(step for step in visit.steps.all() if step.state != Step.State.CANCELLED)
    own = tuple(
        step
        for step in steps
        if technician is None or technician.pk in (step.technician_id, step.second_person_id)
    )
    return WorkVisit(visit, steps, own)


def _all_done(one: WorkVisit) -> bool:
    return bool(one.own) and all(step.state == Step.State.DONE for step in one.steps)


def _rank(one: WorkVisit) -> tuple[int, float, float]:
    step = one.next_own
    starts = step.starts_at if step else None
    waits = 0 if one.doing else 1 if step is None else 2
    return (
        waits,
        starts.timestamp() if starts else float("inf"),
        one.visit.promised_at.timestamp(),
    )

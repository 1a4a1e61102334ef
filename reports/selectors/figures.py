"""A shop's figures of a period, read from what happened: a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Count, Max, Q

from bays.hours import Span as ShopSpan
from bays.models import Hold, HoldReason, ResourceKind
from bays.selectors.calendar import opening_spans, shift_spans, technicians
from bays.selectors.floor import current_floor
from jobs.lifecycle import CalibrationState, VisitState
from jobs.models import Attempt, Calibration, Visit
from reports import figures as pure
from shopcal.accounts.models import Shop
from shopcal.errors import NotFound

_LEFT_OPEN = (CalibrationState.FAILED, CalibrationState.STOPPED)


@dataclass(frozen=True)
class Period:
    """Shop days, both included; ``ends_at`` may lie earlier, for a week that is not over."""

    first_on: date
    last_on: date
    zone: ZoneInfo
    cut_at: datetime | None = None

    @property
    def starts_at(self) -> datetime:
        return datetime.combine(self.first_on, time(), tzinfo=self.zone)

    @property
    def ends_at(self) -> datetime:
        end = datetime.combine(self.last_on + timedelta(days=1), time(), tzinfo=self.zone)
        return min(end, self.cut_at) if self.cut_at else end

    @property
    def span(self) -> pure.Span:
        return pure.Span(self.starts_at, self.ends_at)


@dataclass(frozen=True)
class Work:
    """What was finished in a period and how well."""

    released: tuple[pure.DayCount, ...]
    promises: pure.Share
    first_time: pure.Share
    causes: tuple[pure.CauseCount, ...]

    @property
    def released_count(self) -> int:
        return sum(day.count for day in self.released)

    @property
    def rework_count(self) -> int:
        """Attempts that did not pass."""
        return sum(cause.count for cause in self.causes)

    @property
    def is_empty(self) -> bool:
        return not (
            self.released_count or self.promises.cases or self.first_time.cases or self.causes
        )


def work_of(shop_id: int, period: Period, now: datetime) -> Work:
    """Releases, promises, first-time-through and rework of a period: five queries."""
    inside = (period.starts_at, period.ends_at)
    visits = Visit.objects.for_shop(shop_id)
    released = visits.filter(released_at__gte=inside[0], released_at__lt=inside[1])
    promised = visits.filter(promised_at__gte=inside[0], promised_at__lt=inside[1])
    return Work(
        released=pure.per_day(
            (at for at in released.values_list("released_at", flat=True) if at),
            period.zone,
            period.first_on,
            period.last_on,
        ),
        promises=pure.keeping(
            (
                pure.Promise(promised_at, ready_at)
                for promised_at, ready_at in promised.exclude(
                    state=VisitState.CANCELLED
                ).values_list("promised_at", "ready_at")
            ),
            now,
        ),
        first_time=pure.first_time_through(_concluded(shop_id, inside)),
        causes=pure.causes_of_rework(_not_passed(shop_id, inside)),
    )


def _concluded(shop_id: int, inside: tuple[datetime, datetime]) -> list[pure.Concluded]:
    ended = Calibration.objects.for_shop(shop_id).annotate(
        concluded_at=Max("attempts__ended_at"), tries=Count("attempts")
    )
    closed = Q(state=CalibrationState.VERIFIED) | (Q(state__in=_LEFT_OPEN) & ~Q(dealt_with=""))
    names = ("visit_id", "visit__vehicle_id", "system", "state", "tries", "concluded_at")
    rows = list(
        ended.filter(closed, concluded_at__gte=inside[0], concluded_at__lt=inside[1]).values_list(
            *names
        )
    )
    reach = timedelta(days=pure.RETURN_WITHIN_DAYS)
    earlier: dict[tuple[int, str], list[tuple[int, datetime]]] = defaultdict(list)
    for visit_id, vehicle_id, system, _, _, at in ended.filter(
        state=CalibrationState.VERIFIED,
        visit__vehicle_id__in={row[1] for row in rows},
        concluded_at__gte=inside[0] - reach,
        concluded_at__lt=inside[1],
    ).values_list(*names):
        earlier[vehicle_id, system].append((visit_id, at))
    return [
        pure.Concluded(
            verified=state == CalibrationState.VERIFIED,
            attempts=tries,
            returned=any(
                other != visit_id and at - reach <= before < at
                for other, before in earlier[vehicle_id, system]
            ),
        )
        for visit_id, vehicle_id, system, state, tries, at in rows
    ]


def _not_passed(shop_id: int, inside: tuple[datetime, datetime]) -> Iterable[pure.Attempted]:
    rows = Attempt.objects.for_shop(shop_id).filter(
        outcome__in=("failed", "stopped"), ended_at__gte=inside[0], ended_at__lt=inside[1]
    )
    for cause, begun_at, ended_at in rows.values_list("cause", "begun_at", "ended_at"):
        assert ended_at is not None  # the filter says so
        yield pure.Attempted(cause, round((ended_at - begun_at).total_seconds() / 60))


@dataclass(frozen=True)
class UseOfShop:
    bays: tuple[pure.Use, ...]
    technicians: tuple[pure.Use, ...]


def use_of_shop(shop: Shop, period: Period) -> UseOfShop:
    """Holds for work against opening hours and shifts. A plan ahead counts as held already."""
    held = _held(shop.pk, period)
    return UseOfShop(
        bays=tuple(_bay_use(shop, period, held)),
        technicians=tuple(
            pure.use_of(
                person.name,
                held.get((ResourceKind.PERSON, person.code), ()),
                _within(period, shift_spans(person, shop.zone, period.first_on, period.last_on)),
            )
            for person in technicians(shop.pk)
        ),
    )


Held = Mapping[tuple[str, str], list[pure.Span]]


def _held(shop_id: int, period: Period) -> Held:
    rows = Hold.objects.for_shop(shop_id).filter(
        reason=HoldReason.WORK,
        resource__kind__in=(ResourceKind.ZONE, ResourceKind.PERSON),
        starts_at__lt=period.ends_at,
        ends_at__gt=period.starts_at,
    )
    found: dict[tuple[str, str], list[pure.Span]] = defaultdict(list)
    for kind, code, starts_at, ends_at in rows.values_list(
        "resource__kind", "resource__code", "starts_at", "ends_at"
    ):
        span = pure.Span(max(starts_at, period.starts_at), min(ends_at, period.ends_at))
        found[kind, code].append(span)
    return found


def _bay_use(shop: Shop, period: Period, held: Held) -> Iterable[pure.Use]:
    try:
        bays = current_floor(shop.pk).plan.bays
    except NotFound:
        return
    opened = _within(period, opening_spans(shop.pk, shop.zone, period.first_on, period.last_on))
    single = {zone for bay in bays if len(bay.zones) == 1 for zone in bay.zones}
    for bay in bays:
        # Joined bays are those of which they are made, counted there.
        if len(bay.zones) > 1 and set(bay.zones) <= single:
            continue
        spans = [s for zone in bay.zones for s in held.get((ResourceKind.ZONE, zone), ())]
        # A vehicle that stays over night keeps its zone; that is no work outside the hours.
        yield replace(pure.use_of(bay.name, spans, opened), outside_minutes=0)


def _within(period: Period, spans: Iterable[ShopSpan]) -> tuple[pure.Span, ...]:
    return pure.clipped((pure.Span(s.starts_at, s.ends_at) for s in spans), period.span)


def this_and_last_week(zone: ZoneInfo, now: datetime) -> tuple[Period, Period]:
    """The week so far, and the last one up to the same weekday and time on the shop's clock."""
    local = now.astimezone(zone)
    monday, _ = pure.week_of(local.date())
    # Wall time: over a clock change the same Wednesday noon is not 168 hours ago.
    then = (local.replace(tzinfo=None) - timedelta(days=7)).replace(tzinfo=zone)
    return (
        Period(monday, local.date(), zone, cut_at=now),
        Period(monday - timedelta(days=7), then.date(), zone, cut_at=then),
    )

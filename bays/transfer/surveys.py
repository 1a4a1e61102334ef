"""The sections ``floor_surveys`` and ``light_surveys``: what was read, on which day, with what."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any, Final, NamedTuple

from django.utils import timezone

from bays.models import FloorSurvey, LightSurvey
from bays.services.put import Outcome
from bays.services.surveys import (
    MOST_POINTS,
    light_faults,
    record_light_survey,
    record_survey,
    survey_faults,
)
from bays.transfer.faults import Entry
from bays.transfer.sections import Reading, Section
from bays.transfer.summary import Tally
from shopcal.accounts.actor import Actor
from shopcal.errors import FieldError

MOST_DAYS: Final = 36_500


class Kind(NamedTuple):
    """How one of the two sections differs from the other."""

    key: str
    words: str
    model: Any
    uncertainty: str
    usual: float
    texts: tuple[str, ...]
    faults: Callable[..., list[FieldError]]
    record: Callable[..., Any]


HEIGHTS = Kind(
    "floor_surveys", "floor surveys", FloorSurvey, "reading_uncertainty_mm", 0.5, ("notes",),
    survey_faults, record_survey,
)  # fmt: skip
LIGHT = Kind(
    "light_surveys", "light surveys", LightSurvey, "reading_uncertainty_percent", 5.0,
    ("conditions", "notes"), light_faults, record_light_survey,
)  # fmt: skip


def _read(kind: Kind, value: Any, reading: Reading) -> list[dict[str, Any]]:
    found = []
    may = ("surveyed_on", "days_ago", kind.uncertainty, "due_on", "good_for_days", *kind.texts)
    needed = ("instrument", "points")
    for entry in reading.faults.entries(value, kind.key, needed=needed, may=may):
        survey = _survey(kind, entry, reading)
        if survey is None:
            continue
        errors = kind.faults(
            survey["points"],
            survey["surveyed_on"],
            survey["instrument"],
            survey[kind.uncertainty],
            survey["due_on"],
        )
        reading.faults.extend(entry.path, errors)
        found.append(survey)
    return found


def _survey(kind: Kind, entry: Entry, reading: Reading) -> dict[str, Any] | None:
    faults = reading.faults
    day = _read_day(entry, reading)
    due = _last_day(entry, reading, day)
    if day is None and not {"surveyed_on", "days_ago"} & set(entry.fields):
        faults.note(f"{entry.path}.surveyed_on", "is missing", "the day of the readings")
    instrument = faults.given(entry, "instrument", faults.words)
    uncertainty = faults.number(
        entry.fields.get(kind.uncertainty, kind.usual), f"{entry.path}.{kind.uncertainty}"
    )
    rows = faults.rows(entry.fields.get("points", []), f"{entry.path}.points", at_most=MOST_POINTS)
    texts = {name: entry.fields.get(name, "") for name in kind.texts}
    for name, text in texts.items():
        faults.words(text, f"{entry.path}.{name}", at_most=2000, needed=False)
    if day is None or instrument is None or uncertainty is None:
        return None
    return {
        "surveyed_on": day,
        "due_on": due,
        "instrument": instrument,
        kind.uncertainty: uncertainty,
        "points": [row if isinstance(row, list) else [] for row in rows],
        **{name: text if isinstance(text, str) else "" for name, text in texts.items()},
    }


def _read_day(entry: Entry, reading: Reading) -> date | None:
    """``surveyed_on``, or ``days_ago`` from the shop's today; they rule each other out."""
    days = _days(entry, reading, "days_ago", "surveyed_on")
    if days is None:
        return reading.faults.given(entry, "surveyed_on", reading.faults.day)
    return timezone.now().astimezone(reading.zone).date() - timedelta(days=days)


def _last_day(entry: Entry, reading: Reading, day: date | None) -> date | None:
    """``due_on``, or ``good_for_days`` from the day of the readings; None without either."""
    days = _days(entry, reading, "good_for_days", "due_on")
    if days is None:
        return reading.faults.given(entry, "due_on", reading.faults.day)
    return None if day is None else day + timedelta(days=days)


def _days(entry: Entry, reading: Reading, name: str, otherwise: str) -> int | None:
    if name not in entry.fields:
        return None
    if otherwise in entry.fields:
        reading.faults.note(entry.path, f"has both {otherwise} and {name}", "one of them")
    days = reading.faults.count(entry.fields[name], f"{entry.path}.{name}")
    if days is not None and days > MOST_DAYS:
        reading.faults.note(f"{entry.path}.{name}", f"is {days}", f"at most {MOST_DAYS}")
        return None
    return days


def _apply(kind: Kind, by: Actor, found: list[dict[str, Any]], tally: Tally) -> None:
    """A survey is what was read on one day: one that is there already is not entered again."""
    for survey in found:
        rows = kind.model.objects.for_shop(by.shop_id).filter(
            surveyed_on=survey["surveyed_on"], instrument=survey["instrument"]
        )
        if any(row.points == survey["points"] for row in rows):
            tally.add(kind.words, Outcome.UNCHANGED)
            continue
        kind.record(by=by, **survey)
        tally.add(kind.words, Outcome.ADDED)


def _export(kind: Kind, shop_id: int) -> list[dict[str, Any]] | None:
    return [
        {
            "surveyed_on": row.surveyed_on.isoformat(),
            "instrument": row.instrument,
            kind.uncertainty: getattr(row, kind.uncertainty),
            **({"due_on": row.due_on.isoformat()} if row.due_on else {}),
            **{name: getattr(row, name) for name in kind.texts if getattr(row, name)},
            "points": row.points,
        }
        for row in kind.model.objects.for_shop(shop_id).order_by("surveyed_on", "number")
    ] or None


def _section(kind: Kind) -> Section:
    return Section(
        kind.key,
        lambda value, reading: _read(kind, value, reading),
        lambda by, found, tally: _apply(kind, by, found, tally),
        lambda shop_id: _export(kind, shop_id),
    )


HEIGHT_SURVEYS = _section(HEIGHTS)
LIGHT_SURVEYS = _section(LIGHT)

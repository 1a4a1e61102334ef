"""One visit with everything its page shows."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Prefetch

from jobs.intake import trouble_codes
from jobs.models import Calibration, Scan, Step, Visit
from shopcal.errors import NotFound


@dataclass(frozen=True)
class CodeLine:
    """A trouble code of a scan as it is shown."""

    code: str
    module: str
    status: str
    explanation: str
    blocking: bool


@dataclass(frozen=True)
class ScansCompared:
    """The latest pre-scan and post-scan, and what went, stayed and came."""

    pre: Scan | None
    post: Scan | None
    before: tuple[CodeLine, ...]
    cleared: tuple[CodeLine, ...]
    remaining: tuple[CodeLine, ...]
    new: tuple[CodeLine, ...]


def visit_with_everything(shop_id: int, visit_id: int) -> Visit:
    """The visit with vehicle, steps, calibrations, attempts, scans and overrides at hand.

    Raises:
        NotFound: ``no_visit``, there is none in this shop.
    """
    visit = (
        Visit.objects.for_shop(shop_id)
        .filter(pk=visit_id)
        .select_related("vehicle")
        .prefetch_related(
            Prefetch(
                "steps", Step.objects.select_related("technician", "second_person").order_by("order")
            ),
            Prefetch(
                "calibrations",
                Calibration.objects.select_related("step", "edition__procedure").prefetch_related(
                    "attempts"
                ),
            ),
            "scans__codes",
            "overrides",
        )
        .first()
    )
    if visit is None:
        raise NotFound("no_visit", "There is no such visit in this shop.")
    return visit


def scans_compared(visit: Visit) -> ScansCompared:
    """The latest scan of each kind side by side. Reads the visit's scans and codes."""
    latest = {scan.kind: scan for scan in visit.scans.all()}
    pre, post = latest.get(Scan.Kind.PRE), latest.get(Scan.Kind.POST)
    before, after = _entries(pre), _entries(post)
    lines = {id(entry): line for entry, line in (*before, *after)}
    found = trouble_codes.compare([e for e, _ in before], [e for e, _ in after])

    def told(entries: tuple[trouble_codes.ScanEntry, ...]) -> tuple[CodeLine, ...]:
        return tuple(lines[id(entry)] for entry in entries)

    return ScansCompared(
        pre=pre,
        post=post,
        before=tuple(line for _, line in before),
        cleared=told(found.cleared) if post else (),
        remaining=told(found.remaining),
        new=told(found.new),
    )


def _entries(scan: Scan | None) -> list[tuple[trouble_codes.ScanEntry, CodeLine]]:
    if scan is None:
        return []
    pairs = []
    for row in scan.codes.all():
        text = f"{row.code}-{row.failure_type}" if row.failure_type else row.code
        entry = trouble_codes.ScanEntry(row.module, trouble_codes.parse(text), row.status)
        line = CodeLine(text, row.module, row.status, row.explanation, row.blocking)
        pairs.append((entry, line))
    return pairs

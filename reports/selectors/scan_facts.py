"""The pre-scan and the post-scan of a visit, compared, as a record tells them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime

from jobs.models import Scan, ScanCode, Visit
from jobs.selectors.scans import code_of, comparison_of
from reports.records.content import BeforeAndAfter, CodeLine, ScanFacts

At = Callable[[datetime | None], str]


def before_and_after(visit: Visit, at: At) -> BeforeAndAfter:
    """What the vehicle came with beside what it leaves with."""
    found = comparison_of(visit)
    return BeforeAndAfter(
        pre=_scan(found.pre, at),
        post=_scan(found.post, at),
        found=_lines(found.pre.codes.all() if found.pre else ()),
        cleared=_lines(found.cleared),
        remaining=_lines(found.remaining),
        new=_lines(found.new),
        compared_by=found.post.compared_by if found.post else "",
    )


def _scan(scan: Scan | None, at: At) -> ScanFacts | None:
    if scan is None:
        return None
    return ScanFacts(
        taken_at=at(scan.taken_at),
        taken_by=scan.taken_by,
        tool=scan.tool.name if scan.tool else "",
        tool_serial=scan.tool.serial if scan.tool else "",
    )


def _lines(codes: Iterable[ScanCode]) -> tuple[CodeLine, ...]:
    return tuple(
        CodeLine(code_of(row).text, row.module, row.status, row.explanation) for row in codes
    )

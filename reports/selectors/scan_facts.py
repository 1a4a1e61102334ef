"""The pre-scan and the post-scan of a visit, compared."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime

from jobs.intake.trouble_codes import ScanEntry, compare, parse
from jobs.models import Scan, ScanCode, Visit
from reports.records.content import BeforeAndAfter, CodeLine, ScanFacts

At = Callable[[datetime | None], str]


def before_and_after(visit: Visit, at: At) -> BeforeAndAfter:
    """The first pre-scan beside the last post-scan: what the vehicle came and left with.

    A later pre-scan is taken to see that codes were cleared; it is not what the vehicle came with.
    """
    scans = list(
        Scan.objects.for_shop(visit.shop_id)
        .filter(visit=visit)
        .select_related("tool")
        .prefetch_related("codes")
        .order_by("taken_at", "pk")
    )
    pre = next((scan for scan in scans if scan.kind == Scan.Kind.PRE), None)
    post = next((scan for scan in reversed(scans) if scan.kind == Scan.Kind.POST), None)
    found = list(pre.codes.all()) if pre else []
    left = list(post.codes.all()) if post else []
    compared = compare(_entries(found), _entries(left)) if pre and post else None
    why = {_key(code): code.explanation for code in left}
    return BeforeAndAfter(
        pre=_scan(pre, at),
        post=_scan(post, at),
        found=tuple(_lines(_entries(found), {})),
        cleared=tuple(_lines(compared.cleared, {})) if compared else (),
        remaining=tuple(_lines(compared.remaining, why)) if compared else (),
        # Without a pre-scan nobody knows what is new, so all of it is shown as found after.
        new=tuple(_lines(compared.new if compared else _entries(left), why)),
        compared_by=post.compared_by if post else "",
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


def _key(code: ScanCode) -> tuple[str, str, str]:
    return code.module, code.code, code.failure_type


def _entries(codes: Iterable[ScanCode]) -> list[ScanEntry]:
    return [
        ScanEntry(
            module=code.module,
            code=parse(f"{code.code}-{code.failure_type}" if code.failure_type else code.code),
            status=code.status,
        )
        for code in codes
    ]


def _lines(entries: Iterable[ScanEntry], why: dict[tuple[str, str, str], str]) -> list[CodeLine]:
    return [
        CodeLine(
            code=entry.code.text,
            module=entry.module,
            status=entry.status,
            explanation=why.get((entry.module, entry.code.code, entry.code.failure_type or ""), ""),
        )
        for entry in entries
    ]

"""Scans of a visit: which one counts, what it holds, and pre against post."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Max

from jobs.intake.trouble_codes import ScanEntry, TroubleCode, compare, is_blocking, parse
from jobs.models import Attempt, Calibration, Scan, ScanCode, Visit
from jobs.selectors.procedures import content_of


@dataclass(frozen=True)
class ScanComparison:
    """What the vehicle came with beside what it leaves with.

    ``pre`` is the first pre-scan, since a later one is taken to see that codes were cleared;
    ``post`` the latest post-scan that counts. ``cleared`` are rows of the former, ``remaining``
    and ``new`` of the latter. Without a pre-scan nobody knows what is new, so all of it is.
    """

    pre: Scan | None
    post: Scan | None
    cleared: tuple[ScanCode, ...] = ()
    remaining: tuple[ScanCode, ...] = ()
    new: tuple[ScanCode, ...] = ()

    @property
    def unexplained(self) -> tuple[ScanCode, ...]:
        """Codes that stayed or came, without a word on why."""
        return tuple(row for row in (*self.remaining, *self.new) if not row.explanation.strip())


def scans_of(visit: Visit) -> list[Scan]:
    """All scans, oldest first, with their codes at hand."""
    return list(
        Scan.objects.for_shop(visit.shop_id)
        .filter(visit=visit)
        .select_related("tool")
        .prefetch_related("codes")
        .order_by("taken_at", "id")
    )


def latest_pre_scan(visit: Visit) -> Scan | None:
    """The pre-scan that counts."""
    return next((s for s in reversed(scans_of(visit)) if s.kind == Scan.Kind.PRE), None)


def latest_post_scan(visit: Visit) -> Scan | None:
    """The post-scan that counts: the latest, if it was taken after the last attempt ended.

    One taken before cannot show what a later attempt left behind.
    """
    return _counting_post(visit, scans_of(visit))


def comparison_of(visit: Visit) -> ScanComparison:
    """The scans of a visit compared."""
    scans = scans_of(visit)
    pre = next((s for s in scans if s.kind == Scan.Kind.PRE), None)
    post = _counting_post(visit, scans)
    found = list(pre.codes.all()) if pre else []
    left = list(post.codes.all()) if post else []
    if post is None:
        return ScanComparison(pre, None)
    if pre is None:
        return ScanComparison(None, post, new=tuple(left))
    cleared, remaining, new = compared(found, left)
    return ScanComparison(pre, post, cleared, remaining, new)


def compared(
    before: Sequence[ScanCode], after: Sequence[ScanCode]
) -> tuple[tuple[ScanCode, ...], tuple[ScanCode, ...], tuple[ScanCode, ...]]:
    """Rows of ``before`` that went, and of ``after`` that stayed or came."""
    old, new = [entry_of(row) for row in before], [entry_of(row) for row in after]
    rows = {id(entry): row for entry, row in zip([*old, *new], [*before, *after], strict=True)}
    answer = compare(old, new)

    def as_rows(entries: Iterable[ScanEntry]) -> tuple[ScanCode, ...]:
        return tuple(rows[id(entry)] for entry in entries)

    return as_rows(answer.cleared), as_rows(answer.remaining), as_rows(answer.new)


def entry_of(row: ScanCode) -> ScanEntry:
    """A stored code as the comparison reads it."""
    return ScanEntry(row.module, code_of(row), row.status)


def code_of(row: ScanCode) -> TroubleCode:
    """A stored code in its form."""
    return parse(f"{row.code}-{row.failure_type}" if row.failure_type else row.code)


def blocking_open(scan: Scan | None, patterns: Iterable[str]) -> tuple[ScanCode, ...]:
    """Codes of the pre-scan that counts which forbid a run by these patterns."""
    if scan is None:
        return ()
    rules = tuple(patterns)
    return tuple(
        row
        for row in scan.codes.all()
        if row.cleared_at is None and is_blocking(code_of(row), rules)
    )


def blocking_patterns(visit: Visit) -> tuple[str, ...]:
    """Patterns of every calibration of the visit that is not cancelled, each once."""
    rows = (
        Calibration.objects.for_shop(visit.shop_id)
        .filter(visit=visit)
        .exclude(state="cancelled")
        .select_related("edition")
    )
    return tuple(dict.fromkeys(p for row in rows for p in content_of(row.edition).blocking_codes))


def in_words(row: ScanCode) -> str:
    """``C1A2B-16 (Front camera)``."""
    code = code_of(row).text
    return f"{code} ({row.module})" if row.module else code


def _counting_post(visit: Visit, scans: Sequence[Scan]) -> Scan | None:
    post = next((s for s in reversed(scans) if s.kind == Scan.Kind.POST), None)
    if post is None:
        return None
    ended_at = Attempt.objects.filter(calibration__visit=visit).aggregate(at=Max("ended_at"))["at"]
    return post if ended_at is None or post.taken_at >= ended_at else None

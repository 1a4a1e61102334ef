"""Scans before and after: entering them, explaining what stayed, confirming the comparison."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone

from bays.models import EquipmentUnit
from jobs.intake.trouble_codes import (
    LineError,
    ScanEntry,
    ScanParse,
    is_blocking,
    parse_csv,
    parse_json,
    parse_list,
)
from jobs.models import Scan, ScanCode, Step, Visit
from jobs.selectors.scans import blocking_patterns, compared, comparison_of, latest_pre_scan
from jobs.services.rows import locked_visit, needed_text, one_transaction, told_visit
from jobs.services.steps import finish_step, start_step
from jobs.services.visits import begin_work
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid, NotFound

EXPLANATION_LENGTH = 300
_STEPS = {Scan.Kind.PRE: Step.Kind.PRE_SCAN, Scan.Kind.POST: Step.Kind.POST_SCAN}
_READERS = {"typed": parse_list, "csv": parse_csv, "json": parse_json}
_TO_DO = ("planned", "preparing", "set_out", "running")
MODULE_LENGTH = 60


@one_transaction
def start_scan(*, by: Actor, visit: Visit, kind: str, version: int | None = None) -> Step:
    """Begin the scan's step, so that the plan knows of it; not needed before ``record_scan``.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no such kind.
        Conflict: ``not_in_work``, ``move_refused``, or as ``steps.start_step``.
    """
    require(by, Action.RECORD_SCAN)
    found = locked_visit(by, visit, version)
    begin_work(by=by, visit=found)
    step = found.steps.filter(kind=_STEPS[_kind(kind)]).order_by("order").first()
    if step is None:
        raise NotFound("no_step", "This visit has no step for this scan.")
    return start_step(by=by, step=step)


@one_transaction
def record_scan(
    *,
    by: Actor,
    visit: Visit,
    kind: str,
    text: str = "",
    csv: str = "",
    json: str = "",
    none_found: bool = False,
    tool: EquipmentUnit | None = None,
    version: int | None = None,
) -> Scan:
    """Enter a scan of all modules, typed or as a file of ours, or that no code was found.

    A repeated scan takes the place of the one before: a code gone from a newer pre-scan counts as
    cleared. The first pre-scan moves the visit into work and ends its step; a post-scan ends its.

    Raises:
        NotAllowed, NotFound, Stale.
        Invalid: ``scan``, every line that could not be read, with its path (``line 3``).
        Conflict: ``not_in_work``, ``move_refused``, ``run_going`` (a calibration is running).
    """
    require(by, Action.RECORD_SCAN)
    of_kind = _kind(kind)
    entered, entries = _read({"typed": text, "csv": csv, "json": json}, none_found)
    found = locked_visit(by, visit, version)
    begin_work(by=by, visit=found)
    _refuse_during_run(found)
    now = timezone.now()
    previous = latest_pre_scan(found) if of_kind == Scan.Kind.PRE else None
    scan = Scan.objects.create(
        shop_id=by.shop_id,
        visit=found,
        kind=of_kind,
        taken_at=now,
        taken_by=by.name,
        tool=_own_tool(by, tool),
        modules_scanned=sorted({entry.module for entry in entries if entry.module}),
        entered=entered,
    )
    codes = _save_codes(scan, entries, blocking_patterns(found))
    cleared = _mark_cleared(previous, codes, by, now)
    _finish_step_of(by, found, of_kind)
    told_visit(
        by,
        found,
        f"scan.{of_kind}_recorded",
        {},
        scan=scan.pk,
        codes=[entry.code.text for entry in entries],
        blocking=[row.code for row in codes if row.blocking],
        cleared=[row.code for row in cleared],
    )
    return scan


@one_transaction
def explain_code(*, by: Actor, code: ScanCode, why: str, version: int | None = None) -> ScanCode:
    """Write why a code stays in, or came with, the post-scan. It is shown on the record.

    Raises:
        NotAllowed, NotFound, Stale (the visit's version). Invalid: no words.
        Conflict: ``not_in_post_scan``, the code is in no post-scan that counts; ``not_in_work``.
    """
    require(by, Action.RECORD_SCAN)
    visit = Visit.objects.for_shop(by.shop_id).filter(scans__codes=code.pk).first()
    if visit is None:
        raise NotFound("no_code", "There is no such trouble code in this shop.")
    found = locked_visit(by, visit, version)
    begin_work(by=by, visit=found)
    words = needed_text("why", why, EXPLANATION_LENGTH, "write why the code is there")
    post = comparison_of(found).post
    row = ScanCode.objects.select_for_update().get(pk=code.pk)
    if post is None or row.scan_id != post.pk:
        raise Conflict(
            "not_in_post_scan",
            f"{row.code} is not in the post-scan that counts.",
            detail="Explain codes of the latest post-scan.",
        )
    before = {"code": row.code, "explanation": row.explanation}
    row.explanation = words
    row.save(update_fields=["explanation"])
    told_visit(by, found, "scan.code_explained", before, code=row.code, explanation=words)
    return row


@one_transaction
def confirm_comparison(*, by: Actor, visit: Visit, version: int | None = None) -> Scan:
    """Say that a person looked at what was cleared, stayed and came.

    Raises:
        NotAllowed: neither a technician nor a manager. NotFound, Stale.
        Conflict: ``no_post_scan``, there is none that counts; ``not_in_work``.
    """
    require(by, Action.SIGN_OFF)
    found = locked_visit(by, visit, version)
    begin_work(by=by, visit=found)
    post = comparison_of(found).post
    if post is None:
        raise Conflict(
            "no_post_scan",
            "There is no post-scan since the last calibration ended.",
            detail="Take the post-scan and enter its codes, or that there are none.",
        )
    post.compared_at, post.compared_by = timezone.now(), by.name
    post.save(update_fields=["compared_at", "compared_by"])
    told_visit(by, found, "scan.compared", {}, scan=post.pk)
    return post


def _kind(kind: str) -> Scan.Kind:
    try:
        return Scan.Kind(kind)
    except ValueError:
        fault = FieldError("kind", f"is “{kind}”", "pre or post")
        raise Invalid("scan", "The scan was not entered.", errors=[fault]) from None


def _read(given: dict[str, str], none_found: bool) -> tuple[str, tuple[ScanEntry, ...]]:
    """How it was entered, and its entries."""
    filled = [(how, content) for how, content in given.items() if content.strip()]
    if len(filled) + none_found != 1:
        says = "nothing was entered" if not filled else "more than one thing was entered"
        right = "the codes typed, one file, or that no code was found"
        raise Invalid("scan", "The scan was not entered.", errors=[FieldError("text", says, right)])
    if none_found:
        return "typed", ()
    how, content = filled[0]
    parsed: ScanParse = _READERS[how](content)
    errors = [FieldError(_path(error), error.says, error.right) for error in parsed.errors]
    errors += [
        FieldError(f"line {e.line}", "the module's name is too long", f"at most {MODULE_LENGTH}")
        for e in parsed.entries
        if len(e.module) > MODULE_LENGTH
    ]
    if not errors and not parsed.entries:
        says, right = "there is no code in it", "codes, or say that none was found"
        errors = [FieldError("text" if how == "typed" else how, says, right)]
    if errors:
        raise Invalid("scan", "Some lines could not be read; nothing was entered.", errors=errors)
    return how, parsed.entries


def _path(error: LineError) -> str:
    return f"line {error.line}" if error.line is not None else error.where or "file"


def _refuse_during_run(visit: Visit) -> None:
    if visit.calibrations.filter(state="running").exists():
        raise Conflict(
            "run_going",
            "A calibration is running; the scan tool is busy with it.",
            detail="Record its outcome first, or stop it.",
        )


def _own_tool(by: Actor, tool: EquipmentUnit | None) -> EquipmentUnit | None:
    if tool is not None and tool.shop_id != by.shop_id:
        raise NotFound("no_unit", "There is no such unit in this shop.")
    return tool


def _save_codes(
    scan: Scan, entries: tuple[ScanEntry, ...], patterns: tuple[str, ...]
) -> list[ScanCode]:
    return [
        ScanCode.objects.create(
            shop_id=scan.shop_id,
            scan=scan,
            module=entry.module,
            code=entry.code.code,
            failure_type=entry.code.failure_type or "",
            status=entry.status,
            blocking=is_blocking(entry.code, patterns),
        )
        for entry in entries
    ]


def _mark_cleared(
    previous: Scan | None, codes: list[ScanCode], by: Actor, now: datetime
) -> list[ScanCode]:
    if previous is None:
        return []
    gone, _, _ = compared(list(previous.codes.all()), codes)
    for row in gone:
        row.cleared_at, row.cleared_by = now, by.name
        row.save(update_fields=["cleared_at", "cleared_by"])
    return list(gone)


def _finish_step_of(by: Actor, visit: Visit, kind: Scan.Kind) -> None:
    if kind == Scan.Kind.POST and visit.calibrations.filter(state__in=_TO_DO).exists():
        return  # another one will be needed after what is still to do
    open_states = (Step.State.PLANNED, Step.State.DOING)
    for step in visit.steps.filter(kind=_STEPS[kind], state__in=open_states):
        finish_step(by=by, step=step)

"""Publishing and retiring the shop's procedures. An edition is never changed once published."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter
from typing import Any

from django.db import transaction
from django.utils import timezone

from bays.services.checks import locked_shop, own
from bays.services.warming import owe_warming
from jobs.models import Procedure, ProcedureEdition
from jobs.procedures import ProcedureContent, ProcedureFaults, content_digest
from jobs.selectors.procedures import current_editions
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError
from shopcal.history.record import record_event


def publish_edition(
    *, by: Actor, content: Mapping[str, Any], beside: Collection[str] = ()
) -> ProcedureEdition:
    """Put a transcription of service information in force as the procedure's next edition.

    Content equal to the newest edition's makes no new one, and leaves a retired procedure
    retired; other content brings a retired procedure back. ``beside`` names procedures that
    are published in the same transaction, which ``needs_first`` may name before they are there.

    Raises:
        NotAllowed: not a manager.
        ProcedureFaults: every fault with its path; a procedure named that the shop lacks, or
            procedures that wait for each other.
    """
    require(by, Action.PUBLISH_PROCEDURE)
    read = ProcedureContent.from_content(content)
    digest = content_digest(content)
    with transaction.atomic():
        locked_shop(by)
        needs = needs_by_code(by.shop_id)
        faults = named_faults(read, {*needs, *beside}) or circle_faults(read, needs)
        if faults:
            raise ProcedureFaults(faults)
        now = Procedure.objects.for_shop(by.shop_id).filter(code=read.code).first()
        newest = now.editions.order_by("-number").first() if now else None
        if newest is not None and newest.digest == digest:
            return newest
        procedure = _procedure(by, read)
        edition = ProcedureEdition.objects.create(
            shop_id=by.shop_id,
            procedure=procedure,
            number=newest.number + 1 if newest else 1,
            content=dict(content),
            digest=digest,
            source_document=read.source.document,
            source_dated_on=read.source.dated_on,
            published_at=timezone.now(),
            published_by=by.name,
        )
        record_event(
            by=by,
            kind="procedure.published",
            subject=f"procedure:{procedure.pk}",
            before={"number": newest.number, "digest": newest.digest} if newest else None,
            after={"code": read.code, "number": edition.number, "digest": digest},
        )
        owe_warming(shop_id=by.shop_id, cause=f"edition:{edition.pk}")
    return edition


def retire_procedure(*, by: Actor, procedure: Procedure) -> Procedure:
    """Offer a procedure no longer; its editions and what was done by them stay.

    Raises:
        NotAllowed: not a manager. NotFound: no procedure of this shop.
        Conflict: ``needed_first``, another procedure must be done after this one.
    """
    require(by, Action.PUBLISH_PROCEDURE)
    with transaction.atomic():
        locked_shop(by)
        found = own(by, procedure, "procedure")
        if found.retired_at is not None:
            return found
        needing = sorted(c for c, n in needs_by_code(by.shop_id).items() if found.code in n)
        if needing:
            raise Conflict(
                "needed_first",
                f"{found.name} must come before {', '.join(needing)}.",
                detail="Publish these without it, or retire them first.",
                facts={"procedures": needing},
            )
        found.retired_at = timezone.now()
        found.save(update_fields=["retired_at"])
        record_event(
            by=by,
            kind="procedure.retired",
            subject=f"procedure:{found.pk}",
            after={"code": found.code},
        )
    return found


def needs_by_code(shop_id: int) -> dict[str, tuple[str, ...]]:
    """What must come first, for every procedure in force."""
    return {
        edition.procedure.code: tuple(edition.content.get("needs_first", ()))
        for edition in current_editions(shop_id)
    }


def named_faults(read: ProcedureContent, known: Collection[str]) -> list[FieldError]:
    """Procedures named that are not known."""
    right = f"one of {', '.join(sorted(known))}" if known else "publish that procedure first"
    return [
        FieldError(f"{group}[{index}]", f"“{code}” is no procedure of this shop", right)
        for group in ("needs_first", "supersedes")
        for index, code in enumerate(getattr(read, group))
        if code not in known
    ]


def circle_faults(read: ProcedureContent, needs: Mapping[str, Sequence[str]]) -> list[FieldError]:
    """Procedures that wait for each other, among these and the one read."""
    graph = {**needs, read.code: read.needs_first}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as fault:
        circle = list(reversed(fault.args[1]))
        if read.code in circle:
            says = f"runs in a circle: {' → '.join(circle)}"
            return [FieldError("needs_first", says, "an order in which one comes first")]
    return []


def _procedure(by: Actor, read: ProcedureContent) -> Procedure:
    procedure, _ = Procedure.objects.update_or_create(
        shop_id=by.shop_id,
        code=read.code,
        defaults={
            "name": read.name,
            "system": read.system,
            "method": read.method,
            "retired_at": None,
        },
    )
    return procedure

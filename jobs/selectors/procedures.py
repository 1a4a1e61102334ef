"""Procedures and their editions, read into ``ProcedureContent`` once each."""

from __future__ import annotations

from django.db.models import OuterRef, QuerySet, Subquery

from jobs.models import ProcedureEdition
from jobs.procedures import ProcedureContent


def content_of(edition: ProcedureEdition) -> ProcedureContent:
    """The edition's content; editions never change, so it is parsed once per process."""
    cached = _parsed.get(edition.digest)
    if cached is None:
        cached = ProcedureContent.from_content(edition.content)
        if len(_parsed) >= _MOST_PARSED:
            _parsed.clear()
        _parsed[edition.digest] = cached
    return cached


_MOST_PARSED = 500
_parsed: dict[str, ProcedureContent] = {}


def current_editions(shop_id: int) -> QuerySet[ProcedureEdition]:
    """The newest edition of every procedure that is not retired."""
    newest = (
        ProcedureEdition.objects.filter(procedure=OuterRef("procedure"))
        .order_by("-number")
        .values("pk")[:1]
    )
    return (
        ProcedureEdition.objects.for_shop(shop_id)
        .filter(procedure__retired_at__isnull=True, pk=Subquery(newest))
        .select_related("procedure")
        .order_by("procedure__name")
    )

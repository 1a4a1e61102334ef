"""Entering a scan: typed, as a file, or that no code was found."""

from __future__ import annotations

from bays.models import EquipmentUnit
from jobs.intake.trouble_codes.scan import CHARACTERS_AT_MOST
from jobs.models import Visit
from jobs.services.scans import record_scan
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import FieldError, Invalid


def enter_scan(request: MemberRequest, visit: Visit) -> None:
    """Record what the form holds.

    Raises:
        Invalid: nothing, too much or nothing readable was given; faults by line.
    """
    none_found = "none" in request.POST
    typed = "" if none_found else request.POST.get("codes", "")
    csv, json = ("", "") if none_found else _file(request)
    _refuse_nothing(none_found, typed, csv + json, request.POST.get("codes", ""))
    record_scan(
        by=request.actor,
        visit=visit,
        kind=request.POST.get("kind", ""),
        text=typed,
        csv=csv,
        json=json,
        none_found=none_found,
        tool=_tool(request, visit),
    )


def _file(request: MemberRequest) -> tuple[str, str]:
    """The uploaded file as CSV or as JSON, told by its name, else by how it begins."""
    given = request.FILES.get("file")
    if given is None:
        return "", ""
    if (given.size or 0) > CHARACTERS_AT_MOST:
        raise _wrong("The file is too large.", "One vehicle's scan at a time.")
    try:
        text = given.read().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        says = "The file is not text in UTF-8."
        raise _wrong(says, "Export it as CSV or JSON in UTF-8, or type the codes.") from fault
    if not text.strip():
        raise _wrong("The file is empty.", "Choose the file the scan tool wrote.")
    name = (given.name or "").lower()
    if name.endswith(".json") or (not name.endswith(".csv") and text.lstrip()[:1] in "[{"):
        return "", text
    return text, ""


def _refuse_nothing(none_found: bool, typed: str, file: str, left: str) -> None:
    if none_found and left.strip():
        says = "Codes are typed, and “No codes found” was pressed."
        raise _wrong(says, "Keep the codes, or empty the field first.", "text")
    if not none_found and not typed.strip() and not file:
        right = "Type the codes, take a file, or press “No codes found”."
        raise _wrong("Nothing was entered.", right, "text")


def _wrong(says: str, right: str, path: str = "file") -> Invalid:
    return Invalid("scan", "The scan was not entered.", errors=[FieldError(path, says, right)])


def _tool(request: MemberRequest, visit: Visit) -> EquipmentUnit | None:
    chosen = request.POST.get("tool", "")
    if not (chosen.isascii() and chosen.isdigit() and len(chosen) < 19):
        return None
    return EquipmentUnit.objects.for_shop(visit.shop_id).filter(pk=int(chosen)).first()

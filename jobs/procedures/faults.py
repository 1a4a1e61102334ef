"""What is wrong with a procedure edition whose shape is right."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any, Final

from jobs.metrology.instruments import Instrument
from jobs.metrology.quantities import known_units
from jobs.metrology.set_out import set_out_faults
from jobs.metrology.worksheet import Worksheet, WorksheetFaults
from shopcal.errors import FieldError

_ALONG: Final = ("rear", "rear_axle", "front_axle", "front")
_ACROSS: Final = ("right", "right_tyre", "centreline", "left_tyre", "left")


def meaning_faults(content: Mapping[str, Any]) -> Iterator[FieldError]:
    """Yield every fault of meaning with its path."""
    yield from _worksheet(content)
    yield from _preconditions(content)
    yield from _place(content)
    yield from _clear_zone(content)
    yield from _names_once(content)
    yield from _people_and_time(content)
    try:
        date.fromisoformat(content["source"]["dated_on"])
    except ValueError:
        yield FieldError("source.dated_on", "is no date of the calendar", "Write 2026-03-31.")


def _worksheet(content: Mapping[str, Any]) -> Iterator[FieldError]:
    entry = {"inputs": [], **content["worksheet"]}
    types = {item["type"] for item in content.get("equipment", ())}
    for index, wanted in enumerate(entry["inputs"]):
        path = f"worksheet.inputs[{index}]"
        if not wanted.get("ask"):
            yield FieldError(
                f"{path}.ask", "is missing", "Say what to measure from where to where."
            )
        instrument = wanted.get("instrument")
        if not instrument:
            yield FieldError(f"{path}.instrument", "is missing", "Say what it is read from.")
        elif instrument.get("equipment") and instrument["equipment"] not in types:
            yield FieldError(
                f"{path}.instrument.equipment",
                f"“{instrument['equipment']}” is not in the equipment list",
            )
    try:
        worksheet = Worksheet.from_content(entry)
    except WorksheetFaults as faults:
        for fault in faults.errors:
            yield FieldError(f"worksheet.{fault.path}", fault.says, fault.right)
    else:
        yield from set_out_faults(content.get("set_out", ()), worksheet.names)


def _preconditions(content: Mapping[str, Any]) -> Iterator[FieldError]:
    for index, entry in enumerate(content["preconditions"]):
        path = f"preconditions[{index}]"
        lower, upper = entry.get("lower"), entry.get("upper")
        if entry["kind"] == "yes_no":
            for name in ("unit", "lower", "upper", "instrument"):
                if name in entry:
                    yield FieldError(f"{path}.{name}", "belongs to a quantity, not to yes or no")
            continue
        if entry.get("unit") not in known_units():
            right = f"One of {', '.join(known_units())}."
            yield FieldError(f"{path}.unit", "a quantity needs a unit", right)
        elif "instrument" in entry:
            try:
                Instrument.from_content(entry["instrument"], entry["unit"])
            except ValueError as fault:
                yield FieldError(f"{path}.instrument", str(fault))
        if lower is None and upper is None:
            yield FieldError(path, "can never fail: it has no limit", "Give lower, upper or both.")
        elif lower is not None and upper is not None and lower >= upper:
            says = f"can never pass: lower {lower:g} is not below upper {upper:g}"
            yield FieldError(path, says)


def _place(content: Mapping[str, Any]) -> Iterator[FieldError]:
    road, zone = content.get("road", False), content["clear_zone"]
    if road and zone is not None:
        yield FieldError("clear_zone", "a road procedure takes no floor", "Write null.")
    if not road and zone is None:
        yield FieldError("clear_zone", "is missing for a procedure in the shop")
    if road != (content["run"]["kind"] == "drive"):
        yield FieldError("run.kind", "a drive is on the road, and only a drive", "Match road.")
    if road and any(content.get(name) for name in ("floor", "light", "zone_kind")):
        yield FieldError("road", "a road procedure has no floor tolerance, no light and no rack")
    light = content.get("light", {})
    if "max_lux" in light and light.get("min_lux", 0) >= light["max_lux"]:
        least, most = light["min_lux"], light["max_lux"]
        says = f"can never be right: at least {least:g} lux is not below at most {most:g} lux"
        yield FieldError("light.max_lux", says)
    if not road and "floor" not in content:
        yield FieldError("floor", "is missing", "Give slope_percent and deviation_mm.")
    if content["run"]["kind"] == "rack" and content.get("zone_kind") != "rack":
        yield FieldError("zone_kind", "a run on the rack needs a rack", "Write rack.")


def _clear_zone(content: Mapping[str, Any]) -> Iterator[FieldError]:
    zone = content["clear_zone"] or {"parts": ()}
    for index, part in enumerate(zone["parts"]):
        if "rect" not in part:
            continue
        for axis, order in (("x", _ALONG), ("y", _ACROSS)):
            begin, end = part["rect"][f"from_{axis}"], part["rect"][f"to_{axis}"]
            apart = order.index(end["datum"]) - order.index(begin["datum"])
            backwards = apart <= 0 and end["offset_mm"] <= begin["offset_mm"]
            if backwards:
                yield FieldError(
                    f"clear_zone.parts[{index}].rect.to_{axis}",
                    f"does not lie beyond from_{axis}",
                    "x runs from rear to front, y from right to left.",
                )


def _shared_set_up(content: Mapping[str, Any], whole: int) -> Iterator[FieldError]:
    """Sharing saves setting out here and clearing away before, never the run itself."""
    shared = content.get("shared_set_up")
    if shared is None:
        return
    path, saves = "shared_set_up.saves_minutes", shared["saves_minutes"]
    most = content["minutes"]["set_up"] + content["minutes"]["clear_away"]
    if saves > most:
        yield FieldError(path, f"is more than setting out and clearing away take ({most} min)")
    elif content.get("second_person_minutes", 0) > whole - saves:
        yield FieldError(path, "leaves less than the second person's minutes")
    if content.get("road", False):
        yield FieldError("shared_set_up", "nothing is set out on the road", "Leave it out.")


def _names_once(content: Mapping[str, Any]) -> Iterator[FieldError]:
    for group in ("preconditions", "during_run", "after_checks"):
        yield from _once(group, [entry["name"] for entry in content.get(group, ())], ".name")
    for group in ("skills", "needs_first", "supersedes", "blocking_codes", "causes"):
        yield from _once(group, content.get(group, ()), "")
    yield from _once("equipment", [item["type"] for item in content.get("equipment", ())], ".type")


def _once(group: str, names: Any, suffix: str) -> Iterator[FieldError]:
    seen: set[str] = set()
    for index, name in enumerate(names):
        if name in seen:
            yield FieldError(f"{group}[{index}]{suffix}", f"“{name}” is there twice")
        seen.add(name)


def _people_and_time(content: Mapping[str, Any]) -> Iterator[FieldError]:
    whole = sum(content["minutes"].values())
    if content.get("second_person_minutes", 0) > whole:
        yield FieldError("second_person_minutes", f"is longer than the whole work ({whole} min)")
    if content["code"] in content.get("needs_first", ()):
        yield FieldError("needs_first", "names the procedure itself")
    yield from _shared_set_up(content, whole)
    if content.get("lag_minutes", 0) and not content.get("lag_says"):
        yield FieldError("lag_says", "is missing", "Say what is waited for.")
    for index, work in enumerate(content.get("lag_after", ())):
        if work not in content["triggers"]:
            yield FieldError(f"lag_after[{index}]", f"“{work}” is not among the triggers")

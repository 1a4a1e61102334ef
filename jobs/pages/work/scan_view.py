"""Scans as the page shows them: codes with their form, whether they forbid a run, pre and post."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from jobs.models import Scan, ScanCode
from jobs.pages.work.here import Here
from jobs.pages.work.worksheet import UnitOption, unit_words
from jobs.selectors.scans import ScanComparison, code_of, latest_pre_scan
from jobs.selectors.work_pages import unit_fitness

KIND_TITLES = {Scan.Kind.PRE: "Pre-scan", Scan.Kind.POST: "Post-scan"}
Faults = Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class CodeView:
    """One code: what its form tells, and what it means for the work."""

    id: int
    text: str
    module: str
    status: str
    says: str
    tag: str
    word: str
    why: str = ""


@dataclass(frozen=True)
class ToExplain:
    """A code that stayed or came, waiting for a word on why."""

    id: int
    text: str
    new: bool
    typed: str
    faults: tuple[str, ...]


def code_view(row: ScanCode, tag: str = "", word: str = "") -> CodeView:
    """A code of a pre-scan, or of a post-scan with its tag and word."""
    code = code_of(row)
    if not word:
        if row.cleared_at is not None:
            tag, word = "ok", "cleared since"
        elif row.blocking:
            tag, word = "stop", "forbids a run"
        else:
            tag, word = "", "does not forbid a run"
    return CodeView(
        row.pk, code.text, row.module, row.status, code.says, tag, word, row.explanation
    )


def scan_form(here: Here, kind: str) -> dict[str, Any]:
    """What the form for entering a scan shows, with what was typed before."""
    refused = here.refused if here.refused and here.refused.act == "scan" else None
    faults = refused.faults if refused else {}
    lines = [
        f"{path.capitalize()}: {word}"
        for path, words in faults.items()
        if path.startswith("line ")
        for word in words
    ]
    from_file = bool(refused and refused.from_file)
    plain = [
        f"{path}: {word}" for path, words in faults.items() if not _known(path) for word in words
    ]
    return {
        "kind": kind,
        "typed": refused.post.get("codes", "") if refused else "",
        "line_faults": [] if from_file else lines,
        "faults": {
            "codes": [] if from_file else [*faults.get("text", ()), *plain],
            "file": [*faults.get("file", ()), *lines, *plain] if from_file else [],
        },
        "tools": scan_tools(here, refused.post.get("tool", "") if refused else ""),
    }


def _known(path: str) -> bool:
    return path in ("text", "file", "tool") or path.startswith("line ")


def scan_tools(here: Here, chosen: str = "") -> list[UnitOption]:
    """The shop's scan tools, the one the plan holds for this visit first chosen."""
    planned = {code for step in here.visit.steps.all() for code in step.unit_codes}
    found = unit_fitness(here.by.shop_id, here.today, types=["scan_tool"])
    likely = next((one for one in found if one.unit.code in planned and one.usable), None)
    likely = likely or next((one for one in found if one.usable), None)
    return [
        UnitOption(
            value=str(one.unit.pk),
            says=unit_words(one),
            chosen=str(one.unit.pk) == chosen if chosen else one is likely,
            usable=one.usable,
        )
        for one in found
    ]


def pre_scan_rows(here: Here) -> tuple[str, list[CodeView]]:
    """Title and codes of the pre-scan that counts; no title while there is none."""
    scan = latest_pre_scan(here.visit)
    if scan is None:
        return "", []
    title = f"Pre-scan, {here.words.moment(scan.taken_at)}"
    return title, [code_view(row) for row in scan.codes.all()]


def comparison_rows(found: ScanComparison) -> list[CodeView]:
    """What came, what stayed, what went; in this order, since that is what needs a person."""
    return [
        *_rows(found.new, "stop", "new"),
        *_rows(found.remaining, "tape", "stays"),
        *_rows(found.cleared, "ok", "cleared"),
    ]


def _rows(rows: Iterable[ScanCode], tag: str, word: str) -> list[CodeView]:
    return [code_view(row, tag, word) for row in rows]


def to_explain(here: Here, found: ScanComparison) -> list[ToExplain]:
    """Codes that stayed or came, with what is written about them so far."""
    typed = here.refused.post if here.refused and here.refused.act == "compare" else {}
    faults = here.faults("compare")
    new = {row.pk for row in found.new}
    return [
        ToExplain(
            row.pk,
            code_of(row).text,
            row.pk in new,
            str(typed.get(f"explain-{row.pk}", row.explanation)),
            faults.get(f"explain-{row.pk}", ()),
        )
        for row in (*found.new, *found.remaining)
    ]

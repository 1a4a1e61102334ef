"""Turns the content of a record into the lines that the template prints. Imports no Django."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, Final

from reports.records.content import (
    AnswerLine,
    AttemptFacts,
    BeforeAndAfter,
    CalibrationFacts,
    CodeLine,
    Issue,
    OverrideLine,
    ReadingLine,
    RecordContent,
    ScanFacts,
)
from reports.records.words import date_in_words, moment_in_words, state_in_words, time_in_words

# Characters that print as nothing or turn the direction of what follows: controls, bidirectional
# marks (Unicode 15, table 9-1 of UAX #9), byte order mark, private use, half surrogates.
_UNPRINTABLE: Final = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2060-\u206f\ufeff"
    "\ue000-\uf8ff\ud800-\udfff\ufff9-\uffff]"
)
_PAPER: Final = {"us": "us-letter"}
_TONES: Final = {"pass": "ok", "fail": "stop", "passed": "ok", "failed": "stop", "verified": "ok"}


def sheet_of(content: RecordContent) -> dict[str, Any]:
    """What is printed: text only, in the order of the page."""
    lines = {
        "paper": _PAPER.get(content.shop.units, "a4"),
        "title": f"Calibration record {content.visit.ro_number}",
        "issue": _issue(content.issue),
        "shop": _shop(content),
        "facts": _facts(content),
        "summary": [_summary(row) for row in content.calibrations],
        "work_done": list(content.visit.work_done),
        "scans": _scans(content.scans),
        "calibrations": [_calibration(row) for row in content.calibrations],
        "overrides": [_override(row) for row in content.overrides],
        "people": ", ".join(content.people),
        "cautions": list(content.cautions),
        "footer": f"RO {content.visit.ro_number} · VIN {content.vehicle.vin}",
        "digest": content.digest(),
        "clock": content.shop.time_zone,
    }
    printable: dict[str, Any] = _printable(lines)
    return printable


def _printable(value: Any) -> Any:
    if isinstance(value, str):
        return _UNPRINTABLE.sub("\ufffd", value)
    if isinstance(value, dict):
        return {name: _printable(each) for name, each in value.items()}
    return [_printable(each) for each in value] if isinstance(value, list) else value


def _issue(issue: Issue) -> dict[str, Any]:
    says = f"Record {issue.number}, issued {moment_in_words(issue.issued_at)} by {issue.issued_by}"
    instead = ""
    if issue.supersedes is not None:
        instead = f"Takes the place of record {issue.supersedes}: {issue.reason}"
    return {"says": says, "instead": instead, "at": issue.issued_at}


def _shop(content: RecordContent) -> dict[str, Any]:
    shop = content.shop
    return {
        "name": shop.name,
        "lines": [line for line in (*shop.address.splitlines(), shop.phone, shop.email) if line],
    }


def _facts(content: RecordContent) -> list[list[str]]:
    vehicle, visit = content.vehicle, content.visit
    pairs = [
        ["Vehicle", vehicle.label],
        ["VIN", vehicle.vin],
        ["Model year", str(vehicle.model_year or "")],
        ["Plate", vehicle.plate],
        ["Repair order", visit.ro_number],
        ["Customer", visit.customer],
        ["Checked in", moment_in_words(visit.checked_in_at)],
        ["Ready", moment_in_words(visit.ready_at)],
        ["Signed off", _by(visit.signed_off_by, visit.signed_off_at)],
        ["Cancelled", visit.cancelled_reason],
    ]
    return [pair for pair in pairs if pair[1]]


def _by(name: str, moment: str) -> str:
    return ", ".join(part for part in (name, moment_in_words(moment)) if part)


def _summary(row: CalibrationFacts) -> dict[str, Any]:
    count = len(row.attempts)
    tries = {0: "", 1: "first attempt"}.get(count, f"attempt {count}")
    return {
        "name": row.name,
        "outcome": _outcome(row),
        "tone": _TONES.get(row.state, ""),
        "tries": tries,
        "reasons": list(row.reasons),
    }


def _outcome(row: CalibrationFacts) -> str:
    if row.cancelled_reason:
        return f"not done: {row.cancelled_reason}"
    words = {
        "verified": "calibrated and verified",
        "passed": "calibrated, not verified yet",
        "failed": "FAILED",
        "stopped": "STOPPED, not calibrated",
    }
    return words.get(row.state, f"not finished ({state_in_words(row.state)})")


def _scans(scans: BeforeAndAfter) -> dict[str, Any]:
    return {
        "pre": _scan("Pre-scan", scans.pre),
        "post": _scan("Post-scan", scans.post),
        "compared": scans.pre is not None and scans.post is not None,
        "compared_by": scans.compared_by,
        "found": [_code(code) for code in scans.found],
        "cleared": [_code(code) for code in scans.cleared],
        "remaining": [_code(code) for code in scans.remaining],
        "new": [_code(code) for code in scans.new],
    }


def _scan(name: str, scan: ScanFacts | None) -> str:
    if scan is None:
        return f"{name}: none was taken."
    tool = f" with {scan.tool}{_serial(scan.tool_serial)}" if scan.tool else ""
    return f"{name}: {moment_in_words(scan.taken_at)} by {scan.taken_by}{tool}."


def _serial(serial: str) -> str:
    return f" (serial {serial})" if serial else ""


def _code(code: CodeLine) -> dict[str, str]:
    return {
        "code": code.code,
        "module": code.module,
        "status": code.status,
        "explanation": code.explanation,
    }


def _calibration(row: CalibrationFacts) -> dict[str, Any]:
    procedure = row.procedure
    source = procedure.source_document
    if procedure.source_dated_on:
        source += f", {date_in_words(procedure.source_dated_on)}"
    return {
        **_summary(row),
        "method": row.method,
        "place": row.place,
        "procedure": f"{procedure.name}, edition {procedure.edition}"
        + (" (invented for demonstration)" if procedure.invented else ""),
        "source": source,
        "dealt_with": row.dealt_with,
        "cautions": list(row.cautions),
        "attempts": [_attempt(attempt) for attempt in row.attempts],
    }


def _attempt(row: AttemptFacts) -> dict[str, Any]:
    return {
        "title": f"Attempt {row.number}",
        "outcome": row.outcome or "not finished",
        "tone": _TONES.get(row.outcome, "tape"),
        "cause": row.cause,
        "note": row.note,
        "times": _times(row),
        "preconditions": _answers(row.preconditions),
        "readings": [_reading(reading) for reading in row.readings],
        "checks": [
            {
                "label": check.label,
                "verdict": check.verdict,
                "tone": _TONES.get(check.verdict, "tape"),
                "says": check.says,
                "sure": check.probability_says,
            }
            for check in row.checks
        ],
        "confirmations": _answers(row.confirmations),
        "after_checks": _answers(row.after_checks),
        "units": [[u.name, u.serial or "none", u.fitness_says or u.fitness] for u in row.units],
        "method": row.method,
    }


def _times(row: AttemptFacts) -> str:
    parts = [f"{row.technician}, begun {moment_in_words(row.begun_at)}"]
    if row.run_started_at:
        parts.append(f"run from {time_in_words(row.run_started_at)}")
    if row.ended_at:
        parts.append(f"ended {time_in_words(row.ended_at)}")
    return ", ".join(parts)


def _answers(rows: Iterable[AnswerLine]) -> list[dict[str, Any]]:
    return [
        {"ask": row.ask, "answer": row.answer, "met": row.met, "says": row.says} for row in rows
    ]


def _reading(row: ReadingLine) -> list[str]:
    label = f"{row.label} (corrected, not used)" if row.struck else row.label
    instrument = row.instrument + _serial(row.instrument_serial) if row.instrument else "not told"
    return [label, row.typed, row.value_says, instrument]


def _override(row: OverrideLine) -> dict[str, str]:
    return {
        "on": row.applies_to,
        "says": row.says,
        "reason": row.reason,
        "who": f"{row.overridden_by}, {moment_in_words(row.overridden_at)}",
    }

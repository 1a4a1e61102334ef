"""Trouble codes as people type them or paste them from a scan tool's page.

    Front camera:
    C1A2B-16 stored
    U0415, U0416 pending
    Front radar: C1B00 - alignment not learnt
    # a remark

A name with a colon names the module, for its line or, alone on a line, for those below it.
A status word belongs to the codes before it. Words after a code are its description, but a
word that looks like a code and is none is reported, never taken for a description.
"""

from __future__ import annotations

import re
from typing import Final

from jobs.intake.trouble_codes.form import FORM
from jobs.intake.trouble_codes.scan import (
    Collector,
    ScanEntry,
    ScanParse,
    one_line,
    status_of,
    too_long,
)

MODULE: Final = re.compile(r"\s*([^:]*[^:\s])\s*:(?:\s+(.*)|\s*)")
# With a digit somewhere, so that words such as coil, idle and load stay words.
LOOKS_LIKE_A_CODE: Final = re.compile(
    r"(?=.*\d)(?:(?:[A-Z][0-9OIQL]|[0-9OIQL][0-9A-FOIQL])[0-9A-FOIQL]{2,}(?:[-:].*)?"
    r"|[PCBU][0-9][0-9A-Z]{3}(?:[-:].*)?|0X[0-9A-F]+)",
    re.IGNORECASE,
)
EDGES: Final = ".,;()[]\"'"


def parse_list(text: str) -> ScanParse:
    """Read typed or pasted codes; every line that could not be read is reported."""
    refusal = too_long(text)
    if refusal:
        return refusal
    collector = Collector()
    module = ""
    for number, line in enumerate(text.replace("\ufeff", "").splitlines(), 1):
        content = line.strip()
        if not content or content.startswith("#"):
            continue
        here, rest = _module(content)
        if here and not rest:
            module = here
            continue
        _read_line(collector, number, here or module, rest)
    return collector.result()


def _module(content: str) -> tuple[str, str]:
    match = MODULE.fullmatch(content)
    if match is None or _first_is_code(match[1]):
        return "", content
    return match[1], (match[2] or "").strip()


def _first_is_code(text: str) -> bool:
    """Whether a line's part before a colon starts with a code, so the colon is in its text."""
    return LOOKS_LIKE_A_CODE.fullmatch(text.split(maxsplit=1)[0].strip(EDGES)) is not None


def _read_line(collector: Collector, number: int, module: str, content: str) -> None:
    found: list[ScanEntry] = []
    words: list[str] = []
    open_from = 0  # codes that have no status yet start here
    failed = False
    for raw in re.split(r"[\s,;]+", content):
        token = raw.strip(EDGES)
        if not token or set(token) <= set("-–—|"):
            continue
        status = status_of(token)
        if FORM.fullmatch(token.upper()) or LOOKS_LIKE_A_CODE.fullmatch(token):
            code = collector.code(token, number)
            failed = failed or code is None
            if code:
                found.append(ScanEntry(module, code, "", number))
        elif status and not words:
            found[open_from:] = [_with(entry, status) for entry in found[open_from:]]
            open_from = len(found)
        else:
            words.append(raw)
            if not found and not failed:
                break
    if not found and not failed:
        says = f"{content[:40]!r} does not start with a trouble code"
        right = "the code first, like C1A2B-16 stored; a module's name ends in a colon"
        collector.refuse(number, "no_code", says, right)
    description = one_line(words)
    for entry in found:
        collector.add(ScanEntry(entry.module, entry.code, entry.status, number, description))


def _with(entry: ScanEntry, status: str) -> ScanEntry:
    return ScanEntry(entry.module, entry.code, status, entry.line)

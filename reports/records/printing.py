"""Prints a record as PDF, with a compiler that is kept: fonts and template are read once."""

from __future__ import annotations

import json
import threading
from datetime import datetime
from pathlib import Path
from typing import Final, Literal, NamedTuple, cast

import typst

from reports.records.content import RecordContent
from reports.records.sheet import sheet_of

TEMPLATE: Final = Path(__file__).with_name("record.typ")
Standards = tuple[Literal["a-3b"], ...]
STANDARDS: Final[Standards] = ("a-3b",)

_lock = threading.Lock()
_kept: dict[str, typst.Compiler] = {}


class Printed(NamedTuple):
    """``standards`` names what the compiler was asked to keep to; nobody has validated it."""

    pdf: bytes
    standards: Standards


def print_record(content: RecordContent) -> Printed:
    """The PDF of a content; the same content gives the same bytes with the same fonts.

    The content is attached for programs. Names reach the template as JSON and are never markup.
    A character that no font here has cannot be in an archival PDF, so such a record is printed as
    plain PDF.
    """
    inputs = {
        "sheet": json.dumps(sheet_of(content), ensure_ascii=True),
        "record": content.canonical(),
    }
    issued_at = datetime.fromisoformat(content.issue.issued_at)
    # One compiler serves one thread at a time.
    with _lock:
        try:
            return Printed(_compile(inputs, issued_at, STANDARDS), STANDARDS)
        except typst.TypstError as fault:
            if "PDF/A" not in str(fault):
                raise
            return Printed(_compile(inputs, issued_at, ()), ())


def _compile(inputs: dict[str, str], issued_at: datetime, standards: Standards) -> bytes:
    compiler = _kept.get("compiler")
    if compiler is None:
        compiler = _kept["compiler"] = typst.Compiler(str(TEMPLATE), root=str(TEMPLATE.parent))
    pdf = compiler.compile(
        format="pdf",
        sys_inputs=inputs,
        pdf_standards=list(standards),
        timestamp=int(issued_at.timestamp()),
    )
    return cast(bytes, pdf)  # several pages in one file

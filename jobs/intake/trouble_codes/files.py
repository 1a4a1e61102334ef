"""Our own exchange formats for a scan.

CSV: a first row naming the columns module, code, status in any order, then a row a code.
JSON: {"modules": [{"name": "Front camera", "codes": [{"code": "C1A2B-16", "status": "stored"}]}]}
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from typing import Any, Final

from jobs.intake.trouble_codes.scan import Collector, ScanEntry, ScanParse, too_long

COLUMNS: Final = ("module", "code", "status")
SHAPE: Final = '{"modules": [{"name": "…", "codes": [{"code": "…", "status": "…"}]}]}'


def parse_csv(text: str) -> ScanParse:
    """Read our CSV, separated by comma, semicolon or tab; errors carry the line in the file.

    Columns we do not know are left aside. Without the columns module and code nothing is read.
    """
    refusal = too_long(text)
    if refusal:
        return refusal
    collector = Collector()
    text = text.removeprefix("\ufeff")
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    columns: list[str] | None = None
    for line, row in _rows(reader, collector):
        if not any(cell.strip() for cell in row):
            continue
        if columns is None:
            columns = [cell.strip().casefold() for cell in row]
            if not _columns_fit(collector, line, columns):
                break
        else:
            _read_row(collector, line, columns, row)
    if columns is None and not collector.errors:
        collector.refuse(1, "columns", "the file is empty", ",".join(COLUMNS) + " in the first row")
    return collector.result()


def _rows(reader: Any, collector: Collector) -> Iterator[tuple[int, list[str]]]:
    while True:
        line = reader.line_num + 1
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            # The reader cannot find its place again after broken quotes.
            collector.refuse(
                line,
                "quotes",
                f"the row cannot be read ({error}); nothing below it was read",
                'quotes in pairs, a quote inside a cell written twice: ""',
            )
            return
        yield line, row


def _columns_fit(collector: Collector, line: int, columns: list[str]) -> bool:
    missing = [name for name in ("module", "code") if name not in columns]
    twice = [name for name in COLUMNS if columns.count(name) > 1]
    if missing or twice:
        says = f"the first row lacks {', '.join(missing)}" if missing else f"{twice[0]} comes twice"
        collector.refuse(line, "columns", says, ",".join(COLUMNS) + " in the first row")
    return not (missing or twice)


def _read_row(collector: Collector, line: int, columns: list[str], row: list[str]) -> None:
    if len(row) != len(columns):
        says = f"the row has {len(row)} cells, the first row {len(columns)}"
        right = "one cell for each column; a cell with a comma stands in quotes"
        collector.refuse(line, "cells", says, right)
        return
    cells = dict(zip(columns, row, strict=True))
    code = collector.code(cells["code"], line)
    status = collector.status(cells.get("status", ""), line)
    if code is not None and status is not None:
        collector.add(ScanEntry(cells["module"].strip(), code, status, line))


def parse_json(text: str) -> ScanParse:
    """Read our JSON; errors carry the line where it is broken, else the path of the value."""
    refusal = too_long(text)
    if refusal:
        return refusal
    collector = Collector()
    try:
        content = json.loads(text.removeprefix("\ufeff"))
    except json.JSONDecodeError as error:
        collector.refuse(error.lineno, "json", f"this is not JSON: {error.msg}", SHAPE)
        return collector.result()
    except (RecursionError, ValueError):
        collector.refuse(None, "json", "nested too deep, or a number too long", SHAPE)
        return collector.result()
    modules = content.get("modules") if isinstance(content, dict) else None
    if not isinstance(modules, list):
        collector.refuse(None, "shape", "there is no list of modules", SHAPE, "modules")
        return collector.result()
    for at, module in enumerate(modules):
        _read_module(collector, f"modules[{at}]", module)
    return collector.result()


def _read_module(collector: Collector, where: str, module: object) -> None:
    if not isinstance(module, dict) or not isinstance(module.get("name"), str):
        collector.refuse(None, "shape", "the module has no name", SHAPE, f"{where}.name")
        return
    codes = module.get("codes")
    if not isinstance(codes, list):
        collector.refuse(None, "shape", "the module has no list of codes", SHAPE, f"{where}.codes")
        return
    for at, item in enumerate(codes):
        place = f"{where}.codes[{at}]"
        if not isinstance(item, dict) or not isinstance(item.get("code"), str):
            collector.refuse(None, "shape", "there is no code", SHAPE, f"{place}.code")
            continue
        told = item.get("status") or ""
        code = collector.code(item["code"], None, f"{place}.code")
        status = collector.status(str(told), None, f"{place}.status")
        if code is not None and status is not None:
            collector.add(ScanEntry(module["name"].strip(), code, status))

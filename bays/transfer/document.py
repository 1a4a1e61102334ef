"""A shop file's text, YAML or JSON, as plain values."""

from __future__ import annotations

import json
from datetime import date, time
from typing import Any, Final

import yaml

from bays.transfer.faults import DocumentFaults
from shopcal.errors import FieldError
from shopcal.plain_yaml import PlainLoader

FORMAT: Final = "shopcal-shop/1"
_MOST_CHARACTERS: Final = 4_000_000


def load_document(text: str) -> dict[str, Any]:
    """The fields of a YAML or JSON text; their meaning is not looked at.

    Raises:
        DocumentFaults: neither YAML nor JSON, a field twice, an anchor, or no group of fields.
    """
    if len(text) > _MOST_CHARACTERS:
        raise DocumentFaults([FieldError("", f"has more than {_MOST_CHARACTERS} characters")])
    try:
        content = _read(text.removeprefix("\ufeff"))
    except (ValueError, yaml.YAMLError, RecursionError) as fault:
        says = " ".join(str(fault).split())
        raise DocumentFaults([FieldError("", f"cannot be read: {says}")]) from fault
    if not isinstance(content, dict):
        raise DocumentFaults([FieldError("", "is no group of fields", "format: " + FORMAT)])
    return content


def _read(text: str) -> Any:
    if text.lstrip().startswith("{"):
        try:
            return json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
        except json.JSONDecodeError:
            # YAML may start with a brace too, and its loader tells the place of a fault better.
            pass
    return yaml.load(text, PlainLoader)  # noqa: S506  a SafeLoader


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    fields = dict(pairs)
    if len(fields) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"“{twice}” is there twice")
    return fields


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no number")


def dump_yaml(document: dict[str, Any]) -> str:
    """The document as YAML for people; ``load_document`` gives back the same."""
    return yaml.safe_dump(
        document, sort_keys=False, allow_unicode=True, width=100, default_flow_style=None
    )


def plain_values(value: Any) -> Any:
    """The same with dates and times as text, as JSON holds them."""
    if isinstance(value, dict):
        return {key: plain_values(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [plain_values(entry) for entry in value]
    if isinstance(value, date | time):
        return value.isoformat()
    return value

"""The arithmetic of the chain: canonical JSON and SHA-256. Imports no Django.

Every event's hash covers its own content and the hash before it, so changing, removing, inserting
or reordering one breaks every hash after it. SHA-256 as in FIPS 180-4, over the UTF-8 bytes of the
canonical text.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import date, datetime, time
from decimal import Decimal
from enum import Enum
from typing import Any
from uuid import UUID

ALGORITHM = 1
FIRST_PREVIOUS = "0" * 64


def canonical(value: Any) -> str:
    """JSON with sorted keys, no blanks and ASCII only: the same text for the same content anywhere.

    Dates and times become ISO 8601, decimals and UUIDs text. Numbers are written the shortest way
    that reads back the same (Python's ``repr``), so reading the text and writing it again changes
    nothing.

    Raises:
        TypeError: something JSON cannot hold. ValueError: not a number, or infinite.
    """
    # Twice, since keys that were not text sort differently once they are.
    once = json.dumps(value, default=_plain, allow_nan=False)
    return json.dumps(
        json.loads(once), sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    )


def event_hash(content: Mapping[str, Any], previous_hash: str) -> str:
    """Hash of an event, as 64 hexadecimal digits."""
    text = canonical({"algorithm": ALGORITHM, "event": content, "previous": previous_hash})
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, Decimal | UUID):
        return str(value)
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, set | frozenset):
        return sorted(value)
    raise TypeError(f"An event cannot hold a {type(value).__name__}: give plain values.")

"""What happened to a visit, in lines people can read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from jobs.pages.moments import ShopWords
from shopcal.history.models import Event

KINDS = {
    "visit.cancelled": "stop",
    "visit.held": "tape",
    "visit.guard_overridden": "tape",
    "calibration.guard_overridden": "tape",
    "visit.signed_off": "ok",
    "visit.ready": "ok",
    "visit.released": "ok",
}
# Bookkeeping that tells a reader nothing.
LEFT_OUT = ("version", "label", "steps", "evaluation")
MOST_LETTERS = 240


def event_lines(events: Iterable[Event], words: ShopWords) -> list[dict[str, Any]]:
    """Newest first, for the timeline fragment."""
    return [
        {
            "at": event.at,
            "by": event.actor_name,
            "says": _says(event),
            "detail": _detail(event.after or {}, words),
            "kind": KINDS.get(event.kind, ""),
        }
        for event in reversed(list(events))
    ]


def change_lines(changes: Iterable[Mapping[str, Any]], words: ShopWords) -> list[str]:
    """What others changed meanwhile, one line each."""
    return [
        f"{change['by']}, {words.moment(datetime.fromisoformat(change['at']))}: "
        f"{_detail(change['after'] or {}, words)}"
        for change in changes
    ]


def _says(event: Event) -> str:
    what = event.kind.replace(".", " ").replace("_", " ")
    label = (event.after or {}).get("label", "")
    words = what[:1].upper() + what[1:]
    return f"{words}: {label}" if label else words


def _detail(after: Mapping[str, Any], words: ShopWords) -> str:
    parts = [
        f"{name.replace('_', ' ')}: {_plain(value, words)}"
        for name, value in after.items()
        if name not in LEFT_OUT and value not in (None, "", [], {})
    ]
    text = " · ".join(parts)
    return text if len(text) <= MOST_LETTERS else f"{text[:MOST_LETTERS].rstrip()}…"


def _plain(value: Any, words: ShopWords) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ", ".join(_plain(item, words) for item in value)
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_plain(item, words)}" for name, item in value.items())
    return _moment(str(value), words)


def _moment(text: str, words: ShopWords) -> str:
    """ISO moments in the shop's time; codes without their underscores."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return text.replace("_", " ")
    if found.tzinfo is None or "T" not in text:
        return text
    return words.moment(found)

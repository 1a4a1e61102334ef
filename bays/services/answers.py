"""Answers about the floor that take long to compute: worked out once, read by every process.

Kept in this process first, then in the database. An answer can always be thrown away: it is
computed again. Nothing is written inside somebody's transaction, which on SQLite would keep
every other writer waiting.
"""

from __future__ import annotations

import hashlib
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from datetime import timedelta
from threading import Lock
from typing import Any, TypeVar

import structlog
from django.db import OperationalError, connection, transaction
from django.utils import timezone

from bays.models import FloorAnswer

log = structlog.get_logger("bays.answers")

Answer = TypeVar("Answer")

KEPT_IN_PROCESS = 2_000
# An answer that is not there is looked for again after this long.
MISSING_SECONDS = 20.0
UNUSED_DAYS = 60
MOST_ROWS = 5_000

_known: OrderedDict[str, Any] = OrderedDict()
_missing: dict[str, float] = {}
_lock = Lock()


def answer_key(kind: str, version: int, *facts: object) -> str:
    """A name of what an answer depends on; a changed method counts its ``version`` up.

    ``facts`` must have a ``repr`` that tells everything and is the same in every process.
    """
    digest = hashlib.sha256(repr(facts).encode()).hexdigest()[:40]
    return f"{kind}/{version}/{digest}"


def known_answer(key: str, read: Callable[[Any], Answer]) -> Answer | None:
    """The answer if it was worked out before, here or in another process; reads only."""
    return known_answers([key], read).get(key)


def known_answers(keys: Iterable[str], read: Callable[[Any], Answer]) -> dict[str, Answer]:
    """Those answers that were worked out before, by key; one query, whatever their number."""
    found: dict[str, Answer] = {}
    looked_for = []
    with _lock:
        for key in keys:
            if key in _known:
                _known.move_to_end(key)
                found[key] = _known[key]
            elif time.monotonic() - _missing.get(key, float("-inf")) >= MISSING_SECONDS:
                looked_for.append(key)
    rows = FloorAnswer.objects.filter(key__in=looked_for) if looked_for else ()
    for row in rows:
        answer = _read(row, read)
        if answer is not None:
            _mark_used(row)
            _remember(row.key, answer)
            found[row.key] = answer
    _note_missing([key for key in looked_for if key not in found])
    return found


def _note_missing(keys: Sequence[str]) -> None:
    with _lock:
        if len(_missing) + len(keys) > KEPT_IN_PROCESS:
            _missing.clear()
        _missing.update(dict.fromkeys(keys, time.monotonic()))


def kept_answer(
    key: str,
    compute: Callable[[], Answer],
    write: Callable[[Answer], Any],
    read: Callable[[Any], Answer],
) -> Answer:
    """The answer, computed and kept where nobody has done it yet.

    ``write`` makes JSON of it and ``read`` exactly the same answer again.
    """
    found = known_answer(key, read)
    if found is not None:
        return found
    answer = compute()
    _remember(key, answer)
    _store(key, write(answer))
    return answer


def keep_answer(key: str, answer: Answer, write: Callable[[Answer], Any]) -> None:
    """Put an answer in the place of whatever was kept under this key."""
    _remember(key, answer)
    _store(key, write(answer))


def forget_answers() -> None:
    """Empty this process's memory; what is in the database stays."""
    with _lock:
        _known.clear()
        _missing.clear()


def prune_answers(*, most: int = MOST_ROWS) -> int:
    """Delete answers nobody used for long, and the longest unused above ``most``."""
    oldest = timezone.now().date() - timedelta(days=UNUSED_DAYS)
    gone, _ = FloorAnswer.objects.filter(used_on__lt=oldest).delete()
    over = FloorAnswer.objects.count() - most
    if over > 0:
        rows = FloorAnswer.objects.order_by("used_on", "id").values_list("pk", flat=True)
        ids = list(rows[:over])
        for start in range(0, len(ids), 500):
            gone += FloorAnswer.objects.filter(pk__in=ids[start : start + 500]).delete()[0]
    return gone


def _remember(key: str, answer: Any) -> None:
    with _lock:
        _missing.pop(key, None)
        _known[key] = answer
        _known.move_to_end(key)
        while len(_known) > KEPT_IN_PROCESS:
            _known.popitem(last=False)


def _read(row: FloorAnswer | None, read: Callable[[Any], Answer]) -> Answer | None:
    if row is None:
        return None
    try:
        return read(row.content)
    except (KeyError, TypeError, ValueError, IndexError):
        log.warning("answers.unreadable", key=row.key)
        return None


def _mark_used(row: FloorAnswer) -> None:
    today = timezone.now().date()
    if row.used_on >= today or connection.in_atomic_block:
        return
    _quietly(lambda: FloorAnswer.objects.filter(pk=row.pk).update(used_on=today))


def _store(key: str, content: Any) -> None:
    if connection.in_atomic_block:
        return
    facts = {"content": content, "used_on": timezone.now().date()}
    _quietly(lambda: FloorAnswer.objects.update_or_create(key=key, defaults=facts))


def _quietly(write: Callable[[], object]) -> None:
    """A busy database costs the keeping, never the answer."""
    try:
        with transaction.atomic():
            write()
    except OperationalError as fault:
        log.warning("answers.not_kept", fault=str(fault))

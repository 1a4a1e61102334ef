"""Who listens to which shop, and what each has still to be told. Imports no Django.

Everything happens in one event loop, so nothing here needs a lock.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

EVERYTHING = "*"
MOST_PENDING = 200  # distinct things waiting for one slow listener, after which: "anything"


@dataclass(frozen=True)
class Hint:
    """Something happened to ``subject`` ("visit:12"); ``seq`` is its number in the shop."""

    seq: int
    kind: str
    subject: str


@dataclass(frozen=True)
class News:
    """What a listener is told at once; kind and subject ``"*"``: anything may have changed."""

    seq: int
    kinds: tuple[str, ...]
    subjects: tuple[str, ...]


@dataclass(eq=False)
class Listener:
    """One open page. A slow one gets what piled up in one piece and holds nobody up."""

    shop_id: int
    seq: int
    ready: asyncio.Event = field(default_factory=asyncio.Event)
    _pending: dict[tuple[str, str], None] = field(default_factory=dict)
    _everything: bool = False

    def offer(self, hints: Iterable[Hint]) -> None:
        """Have these told, as soon as the listener can hear."""
        for hint in hints:
            self.seq = max(self.seq, hint.seq)
            self._pending[hint.kind, hint.subject] = None
            self.ready.set()
        if len(self._pending) > MOST_PENDING:
            self._everything = True
            self._pending.clear()

    def take(self) -> News | None:
        """What has piled up since the last time, None when nothing has."""
        self.ready.clear()
        if self._everything:
            news = News(self.seq, (EVERYTHING,), (EVERYTHING,))
        elif self._pending:
            kinds = tuple(dict.fromkeys(kind for kind, _ in self._pending))
            subjects = tuple(dict.fromkeys(subject for _, subject in self._pending))
            news = News(self.seq, kinds, subjects)
        else:
            return None
        self._pending.clear()
        self._everything = False
        return news


@dataclass(eq=False)
class Hub:
    """All listeners of this process, and how far each listened-to shop has been read."""

    positions: dict[int, int] = field(default_factory=dict)
    _listeners: dict[int, set[Listener]] = field(default_factory=dict)

    def join(self, shop_id: int, *, last_seq: int, since: int) -> Listener:
        """A new listener; the first of a shop starts its reading from ``last_seq``."""
        listener = Listener(shop_id=shop_id, seq=since)
        self._listeners.setdefault(shop_id, set()).add(listener)
        self.positions.setdefault(shop_id, last_seq)
        return listener

    def leave(self, listener: Listener) -> None:
        """Forget a listener, and with the last of a shop how far that shop was read."""
        others = self._listeners.get(listener.shop_id, set())
        others.discard(listener)
        if not others:
            self._listeners.pop(listener.shop_id, None)
            self.positions.pop(listener.shop_id, None)

    def publish(self, hints_by_shop: Mapping[int, list[Hint]]) -> None:
        """Hand hints to the listeners of their shops, and to nobody else."""
        for shop_id, hints in hints_by_shop.items():
            if not hints or shop_id not in self.positions:
                continue  # the last listener left while these were being read
            self.positions[shop_id] = max(self.positions[shop_id], hints[-1].seq)
            for listener in self._listeners[shop_id]:
                listener.offer(hints)

    def __len__(self) -> int:
        return sum(len(listeners) for listeners in self._listeners.values())

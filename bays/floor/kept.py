"""Answers kept by the memory they use, least recently used leaving first."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock
from typing import Generic, Protocol, TypeVar

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value", bound="Sized")


class Sized(Protocol):
    @property
    def nbytes(self) -> int: ...


class Kept(Generic[Key, Value]):
    """At most ``most_bytes`` together; the newest is kept whatever its size.

    A value may grow after it was put here; its size is taken anew each time one is put.
    """

    def __init__(self, most_bytes: int) -> None:
        self._most_bytes = most_bytes
        self._values: OrderedDict[Key, Value] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Key) -> Value | None:
        with self._lock:
            if key in self._values:
                self._values.move_to_end(key)
            return self._values.get(key)

    def put(self, key: Key, value: Value) -> None:
        with self._lock:
            self._values[key] = value
            self._values.move_to_end(key)
            while len(self._values) > 1 and self._nbytes() > self._most_bytes:
                self._values.popitem(last=False)

    def clear(self) -> None:
        with self._lock:
            self._values.clear()

    @property
    def nbytes(self) -> int:
        with self._lock:
            return self._nbytes()

    def _nbytes(self) -> int:
        return sum(value.nbytes for value in self._values.values())

"""Which function handles which kind of message, and which timers there are. Imports no models."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

Finish = Callable[[], None]

# What Celery workers may be told apart by, so that slow work of one kind does not delay another's.
BACKGROUND = "floor"  # minutes of arithmetic that nobody waits for; a worker of its own does it
PROMPT = ("default", "mail", "planning", "records", "webhooks")
QUEUES = (*PROMPT, BACKGROUND)
TICK_QUEUE = "clock"  # a queue of its own: a tick must not wait behind the work it announces
TIMER_KIND = "timer:"  # kinds of messages written by timers begin with this


class UnknownKind(LookupError):
    """No handler is registered for a kind: its module is not imported, or the kind is mistyped."""


class GiveUp(Exception):
    """Raised by a handler when trying again cannot help; the message is set aside at once."""


@dataclass(frozen=True)
class Message:
    """What a handler is given. ``attempt`` counts from 1; ``owner`` is the lease it works under."""

    id: int
    kind: str
    key: str
    payload: Mapping[str, Any]
    shop_id: int | None
    attempt: int
    owner: str
    created_at: datetime


Handle = Callable[[Message], Finish | None]


@dataclass(frozen=True)
class Handler:
    """How one kind of message is handled.

    ``lease_seconds`` must exceed the time one attempt may take, or call ``renew_lease`` in between:
    after it another worker takes the message over. Retries wait 5 s, 10 s, 20 s, ... up to 30 min,
    so 20 attempts stretch over about 6 hours.
    """

    kind: str
    handle: Handle
    queue: str = "default"
    lease_seconds: int = 60
    max_attempts: int = 20


@dataclass(frozen=True)
class TimerRule:
    name: str
    every_seconds: int

    @property
    def kind(self) -> str:
        return TIMER_KIND + self.name


@dataclass
class Registry:
    handlers: dict[str, Handler] = field(default_factory=dict)
    timers: dict[str, TimerRule] = field(default_factory=dict)

    def add(self, entry: Handler) -> None:
        known = self.handlers.get(entry.kind)
        if known is not None and known.handle is not entry.handle:
            raise ValueError(f"Two handlers are registered for messages of kind {entry.kind!r}.")
        require_queue(entry.queue)
        self.handlers[entry.kind] = entry

    def handler_for(self, kind: str) -> Handler:
        try:
            return self.handlers[kind]
        except KeyError:
            raise UnknownKind(f"No handler is registered for messages of kind {kind!r}.") from None


registry = Registry()


def require_queue(name: str) -> None:
    """Do nothing for a queue that workers listen to; on another a message would wait for ever."""
    if name not in QUEUES:
        raise ValueError(f"There is no queue {name!r}: use one of {', '.join(QUEUES)}.")


def handler(
    kind: str, *, queue: str = "default", lease_seconds: int = 60, max_attempts: int = 20
) -> Callable[[Handle], Handle]:
    """Register the decorated function for messages of ``kind``."""

    def register(handle: Handle) -> Handle:
        registry.add(Handler(kind, handle, queue, lease_seconds, max_attempts))
        return handle

    return register


def timer(
    name: str,
    *,
    every_seconds: int,
    queue: str = "default",
    lease_seconds: int = 60,
    max_attempts: int = 5,
) -> Callable[[Handle], Handle]:
    """Have the decorated function run about every so many seconds, by one worker at a time.

    A run is an ordinary message (``payload["due_at"]``), so it is retried like one. A tick that
    comes while the run before is still owed is skipped: runs of a timer never pile up.
    """
    if every_seconds < 1:
        raise ValueError("A timer runs at most once a second.")
    rule = TimerRule(name, every_seconds)

    def register(handle: Handle) -> Handle:
        registry.add(Handler(rule.kind, handle, queue, lease_seconds, max_attempts))
        registry.timers[name] = rule
        return handle

    return register

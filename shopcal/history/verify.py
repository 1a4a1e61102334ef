"""Proves that a shop's history is as it was written.

What this can prove: no event was changed, removed from the middle, inserted or reordered, unless
everything after it was computed afresh. What it cannot prove alone: that the last events were not
cut off, or the whole chain rebuilt, by someone who can write to the database past its guards. For
that, keep the printed head somewhere else and give it back later as ``Head``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from shopcal.history.chain import FIRST_PREVIOUS
from shopcal.history.models import Event, ShopChain


@dataclass(frozen=True)
class Head:
    """The end of a chain at some time: ``seq`` and the 64 hexadecimal digits of its hash."""

    seq: int
    hash: str


@dataclass(frozen=True)
class Fault:
    """One place where the history is not as it was written; ``seq`` is the event's number."""

    seq: int
    code: str
    says: str


@dataclass(frozen=True)
class Verdict:
    """``head`` is what to keep elsewhere; ``faults`` is empty where nothing was found."""

    events: int
    head: Head
    faults: tuple[Fault, ...]


def verify_history(shop_id: int, *, kept: Head | None = None) -> Verdict:
    """Recompute a shop's chain from its first event; ``kept`` is a head noted down earlier.

    Safe while others write: the chain's end is read before the events, and only what was there
    then must be there.
    """
    before = _end(shop_id)
    faults: list[Fault] = []
    hashes_wanted = {h.seq: h for h in (before, kept) if h is not None and h.seq}
    expected_seq, previous = 1, FIRST_PREVIOUS
    count = 0
    for event in Event.objects.for_shop(shop_id).order_by("seq").iterator(2000):
        count += 1
        faults += _faults_of(event, expected_seq, previous)
        wanted = hashes_wanted.pop(event.seq, None)
        if wanted is not None and wanted.hash != event.hash:
            says = f"Event {event.seq} is not the one noted as the head then."
            faults.append(Fault(event.seq, "head_differs", says))
        expected_seq, previous = event.seq + 1, event.hash
    last = Head(expected_seq - 1, previous)
    faults += [
        Fault(head.seq, "cut_off", f"The history ends at {last.seq}; event {head.seq} is gone.")
        for head in hashes_wanted.values()
    ]
    after = _end(shop_id)
    if last.seq > after.seq:
        says = f"The chain ends at {after.seq}, but there are events after it."
        faults.append(Fault(last.seq, "beyond_end", says))
    return Verdict(count, last, tuple(faults))


def _end(shop_id: int) -> Head:
    chain = ShopChain.objects.filter(shop_id=shop_id).first()
    return Head(chain.seq, chain.head) if chain else Head(0, FIRST_PREVIOUS)


def _faults_of(event: Event, expected_seq: int, previous: str) -> Iterator[Fault]:
    seq = event.seq
    if seq != expected_seq:
        missing = f"{expected_seq}" if seq == expected_seq + 1 else f"{expected_seq} to {seq - 1}"
        yield Fault(seq, "removed", f"Before event {seq}, {missing} is missing.")
    elif event.previous_hash != previous:
        yield Fault(seq, "relinked", f"Event {seq} does not continue from the event before it.")
    if event.expected_hash() != event.hash:
        yield Fault(seq, "changed", f"Event {seq} was changed after it was written.")

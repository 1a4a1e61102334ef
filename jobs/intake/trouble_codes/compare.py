"""What a post-scan shows beside the pre-scan."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from jobs.intake.trouble_codes.scan import ScanEntry


@dataclass(frozen=True)
class Comparison:
    """Entries of the pre-scan that went, and of the post-scan that stayed or came."""

    cleared: tuple[ScanEntry, ...]
    remaining: tuple[ScanEntry, ...]
    new: tuple[ScanEntry, ...]


def compare(pre: Iterable[ScanEntry], post: Iterable[ScanEntry]) -> Comparison:
    """Pair each post-scan entry with a pre-scan entry of the same module and code.

    Two failure types of one code are two faults. Where one scan does not tell the module or
    the failure type, it pairs with what is left after the exact pairs, so that a typed
    pre-scan does not make every code of an exported post-scan look new.
    """
    before, after = list(pre), list(post)
    paired: set[int] = set()
    unmatched: list[int] = list(range(len(before)))
    for loose in (False, True):
        for at, entry in enumerate(after):
            if at in paired:
                continue
            partner = next((i for i in unmatched if _same(before[i], entry, loose)), None)
            if partner is not None:
                paired.add(at)
                unmatched.remove(partner)
    return Comparison(
        cleared=tuple(before[i] for i in unmatched),
        remaining=tuple(entry for at, entry in enumerate(after) if at in paired),
        new=tuple(entry for at, entry in enumerate(after) if at not in paired),
    )


def _same(one: ScanEntry, other: ScanEntry, loose: bool) -> bool:
    if one.code.code != other.code.code:
        return False
    modules = {one.module.casefold(), other.module.casefold()}
    failure_types = {one.code.failure_type, other.code.failure_type}
    if loose:
        modules.discard("")
        failure_types.discard(None)
    return len(modules) <= 1 and len(failure_types) <= 1

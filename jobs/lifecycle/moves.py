"""How a table of moves with guards is read; the tables themselves are data."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, Protocol, TypeVar


class Facts(Protocol):
    @property
    def overridden(self) -> frozenset[str]:
        """Keys of guards a manager has overridden with a reason on record."""


F = TypeVar("F", bound=Facts)
F_contra = TypeVar("F_contra", bound=Facts, contravariant=True)
S = TypeVar("S", bound=StrEnum)
A = TypeVar("A", bound=StrEnum)


@dataclass(frozen=True)
class Guard(Generic[F]):
    """One condition of a move.

    `missing` tells from the facts what is not met ("" when nothing), `right` what puts it
    right. `can_override` says whether a manager may go on without it, with a reason.
    """

    key: str
    missing: Callable[[F], str]
    right: str
    can_override: bool


@dataclass(frozen=True)
class Row(Generic[S, A]):
    """From `state`, `act` leads to `to` once every guard named is met."""

    state: S
    act: A
    to: S
    guards: tuple[str, ...] = ()


@dataclass(frozen=True)
class Unmet:
    """A guard that is not met. `code` is stable and the same in the API."""

    guard: str
    code: str
    says: str
    right: str
    can_override: bool


class MoveRefused(Exception):
    """The move is not in the table (code "no_such_move") or guards are unmet ("unmet").

    `unmet` lists every guard, not just the first.
    """

    def __init__(self, code: str, says: str, unmet: tuple[Unmet, ...] = ()) -> None:
        super().__init__(says)
        self.code = code
        self.says = says
        self.unmet = unmet


def words(name: StrEnum) -> str:
    return name.value.replace("_", " ")


def row_for(table: Sequence[Row[S, A]], state: S, act: A, thing: str) -> Row[S, A]:
    """The table's row.

    Raises:
        MoveRefused: code "no_such_move", naming the acts that are possible.
    """
    for row in table:
        if row.state == state and row.act == act:
            return row
    possible = ", ".join(words(row.act) for row in table if row.state == state)
    says = f"a {thing} that is {words(state)} has no move “{words(act)}”; "
    says += f"from here: {possible}" if possible else "it is closed"
    raise MoveRefused("no_such_move", says)


def unmet_guards(
    guards: Mapping[str, Guard[F]], names: Sequence[str], facts: F
) -> tuple[Unmet, ...]:
    """Every guard that is neither met nor overridden.

    An override of a guard that can never be overridden counts for nothing.
    """
    found: list[Unmet] = []
    for name in names:
        guard = guards[name]
        if guard.can_override and name in facts.overridden:
            continue
        says = guard.missing(facts)
        if says:
            code = f"unmet.{name}"
            found.append(Unmet(name, code, says, guard.right, guard.can_override))
    return tuple(found)


def refuse_unmet(unmet: tuple[Unmet, ...], act: StrEnum) -> None:
    """Raise with every unmet guard in words; do nothing when there is none.

    Raises:
        MoveRefused: code "unmet".
    """
    if not unmet:
        return
    listed = "; ".join(f"{item.says} ({item.right})" for item in unmet)
    raise MoveRefused("unmet", f"“{words(act)}” is not possible yet: {listed}", unmet)


def named(names: Sequence[str], says: str) -> str:
    """`says` followed by the names, or "" when there are none."""
    return f"{says}: {', '.join(names)}" if names else ""


def unless(met: bool, says: str) -> str:
    return "" if met else says

"""Add a row or bring it up to date, with its event; nothing happens where nothing differs."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, time
from enum import StrEnum
from typing import Any, NamedTuple

from django.db import models

from shopcal.accounts.actor import Actor
from shopcal.accounts.scoping import ShopOwned
from shopcal.history.record import record_event


class Outcome(StrEnum):
    ADDED = "added"
    CHANGED = "changed"
    UNCHANGED = "unchanged"


class Put(NamedTuple):
    """The row, and what was done to it."""

    row: Any
    outcome: Outcome


def put(
    by: Actor,
    model: type[ShopOwned],
    kind: str,
    *,
    where: Mapping[str, Any],
    values: Mapping[str, Any],
    only_new: Mapping[str, Any] | None = None,
) -> Put:
    """The shop's row found by ``where``, made or changed to ``values``; call in a transaction.

    A model with a ``version`` has it counted up on each change. Events are ``<kind>.added`` and
    ``<kind>.changed`` on the subject ``<kind>:<id>``.
    """
    rows: models.QuerySet[Any] = model.objects.select_for_update(no_key=True)
    row = rows.filter(shop_id=by.shop_id, **where).first()
    if row is None:
        row = rows.create(shop_id=by.shop_id, **where, **values, **(only_new or {}))
        _tell(by, f"{kind}.added", row, None, {**where, **values})
        return Put(row, Outcome.ADDED)
    changes = {name: value for name, value in values.items() if getattr(row, name) != value}
    if not changes:
        return Put(row, Outcome.UNCHANGED)
    before = {name: getattr(row, name) for name in changes}
    save_changes(row, changes)
    _tell(by, f"{kind}.changed", row, before, changes)
    return Put(row, Outcome.CHANGED)


def save_changes(row: models.Model, changes: Mapping[str, Any]) -> None:
    """Save these fields, and the next version where the model counts versions."""
    fields = list(changes)
    for name, value in changes.items():
        setattr(row, name, value)
    if hasattr(row, "version"):
        row.version += 1
        fields.append("version")
    row.save(update_fields=fields)


def _tell(
    by: Actor,
    kind: str,
    row: models.Model,
    before: Mapping[str, Any] | None,
    after: Mapping[str, Any],
) -> None:
    subject = f"{kind.partition('.')[0]}:{row.pk}"
    record_event(
        by=by, kind=kind, subject=subject, before=plain(before) if before else None,
        after=plain(after),
    )  # fmt: skip


def plain(facts: Mapping[str, Any]) -> dict[str, Any]:
    """Values as JSON holds them: dates and times as text, rows as their id."""
    return {name: _plain(value) for name, value in facts.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, models.Model):
        return value.pk
    return value

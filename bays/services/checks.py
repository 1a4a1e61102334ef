"""What a code, a text or a person's version must be like, and whose row it is."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final, TypeVar

from django.db import models

from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.accounts.scoping import ShopOwned
from shopcal.errors import FieldError, Invalid, NotFound, Stale

_CODE: Final = re.compile(r"[A-Za-z0-9_-]+\Z")
CODE_LENGTH: Final = 60

Row = TypeVar("Row", bound=ShopOwned)


def code_faults(path: str, code: str) -> list[FieldError]:
    """A code is letters, digits, - and _, since procedures and plans name things by it."""
    if len(code) > CODE_LENGTH or not _CODE.match(code):
        right = f"1 to {CODE_LENGTH} letters, digits, - or _"
        return [FieldError(path, f"“{code[:40]}” is no code", right)]
    return []


def text_faults(path: str, text: str, at_most: int, *, needed: bool = True) -> list[FieldError]:
    """A text that is missing or too long for its place."""
    if needed and not text.strip():
        return [FieldError(path, "is empty", "a text")]
    if len(text) > at_most:
        return [FieldError(path, f"has {len(text)} characters", f"at most {at_most}")]
    return []


def aware_faults(path: str, moment: datetime | None) -> list[FieldError]:
    """A moment without a time zone could be any of 26 hours."""
    if moment is not None and moment.tzinfo is None:
        return [FieldError(path, "has no time zone", "a time with its offset from UTC")]
    return []


def refuse_faults(code: str, title: str, errors: Sequence[FieldError]) -> None:
    """Do nothing where there is no fault.

    Raises:
        Invalid: with all of them.
    """
    if errors:
        raise Invalid(code, title, errors=errors)


def locked_shop(by: Actor) -> Shop:
    """The actor's shop, locked: one change of its setting-up at a time.

    Two people who add the same code at once would otherwise both find it free. The lock leaves the
    key alone, so that bookings, whose rows point at the shop, do not wait for it.
    """
    return Shop.objects.select_for_update(no_key=True).get(pk=by.shop_id)


def own(by: Actor, row: Row, what: str) -> Row:
    """The row as it is now, locked until the transaction ends.

    Raises:
        NotFound: it is another shop's, or gone.
    """
    rows: models.QuerySet[Any] = type(row).objects.select_for_update(no_key=True)
    found: Row | None = rows.filter(pk=row.pk, shop_id=by.shop_id).first()
    if found is None:
        raise NotFound(f"no_{what.replace(' ', '_')}", f"There is no such {what} in this shop.")
    return found


def refuse_stale(row: Any, version: int | None, what: str) -> None:
    """Do nothing where the row is still what the person was looking at.

    ``version`` None means that the caller judges by the row as it is now, not by a page.

    Raises:
        Stale: someone changed it meanwhile.
    """
    if version is not None and row.version != version:
        raise Stale(
            f"{what.replace(' ', '_')}_changed",
            f"Someone else changed this {what} meanwhile.",
            detail="Look at it again before you save.",
            facts={"version": row.version},
        )

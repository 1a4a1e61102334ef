"""What the endpoints of this app share: rows named in a request, and numbers that fit."""

from __future__ import annotations

from typing import Any, Final, TypeVar

import django_filters
from django.db import models
from rest_framework import serializers

from shopcal.accounts.scoping import ShopOwned
from shopcal.errors import FieldError, Invalid

# What the database's 64-bit integers hold.
GREATEST_ID: Final = 2**63 - 1

Row = TypeVar("Row", bound=ShopOwned)


class IdField(serializers.IntegerField):
    """The id of a row that a request names."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=1, max_value=GREATEST_ID, **kwargs)


class IdFilter(django_filters.NumberFilter):
    """Rows that belong to the row with this id."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, min_value=1, max_value=GREATEST_ID, **kwargs)


class MomentFilter(django_filters.IsoDateTimeFilter):
    """A moment with its offset from UTC; one without is taken as UTC."""


def named_row(rows: models.QuerySet[Row], path: str, **where: Any) -> Row:
    """The row that a field of the request names.

    Raises:
        Invalid: ``invalid``, there is none in this shop; ``path`` is the field.
    """
    found = rows.filter(**where).first()
    if found is None:
        what = rows.model._meta.verbose_name
        fault = FieldError(path, f"There is no such {what} in this shop.", "one that is listed")
        raise Invalid("invalid", "Some of what was given is wrong.", errors=[fault])
    return found

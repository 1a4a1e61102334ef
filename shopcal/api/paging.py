"""Lists in pages that stay in place while rows are added: cursors, not page numbers.

A cursor holds the values of *every* field of the order at a page's edge. The framework's own holds
the first only and counts the rows equal in it, which loses rows on the way back over many of them.
"""

from __future__ import annotations

import base64
import functools
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet
from django.utils.encoding import force_str
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.utils.urls import remove_query_param, replace_query_param

from shopcal.api import kinds
from shopcal.api.conf import MAX_PAGE_SIZE, PAGE_SIZE
from shopcal.errors import FieldError, Invalid


@dataclass(frozen=True)
class Edge:
    """The row beside which a page lies; ``back`` is a page before it. Values are as in JSON."""

    values: tuple[str | int | float | bool, ...]
    back: bool

    def text(self) -> str:
        content = json.dumps([self.back, *self.values], separators=(",", ":"))
        return base64.urlsafe_b64encode(content.encode()).decode().rstrip("=")

    @classmethod
    def read(cls, text: str, count: int) -> Edge:
        """Raises ValueError where the text is not an edge of an order of so many fields."""
        padded = text + "=" * (-len(text) % 4)
        content = json.loads(base64.b64decode(padded, altchars=b"-_", validate=True))
        if not isinstance(content, list) or len(content) != count + 1:
            raise ValueError("not an edge of this order")
        back, *values = content
        if not isinstance(back, bool) or not all(_is_plain(value) for value in values):
            raise ValueError("not an edge")
        return cls(tuple(values), back)


def _is_plain(value: Any) -> bool:
    # PostgreSQL takes no NUL in a text.
    return isinstance(value, str | int | float) and "\x00" not in str(value)


class CursorPages(CursorPagination):
    """``{"next": link, "previous": link, "results": [...]}``.

    The view's ``ordering`` names the order, ``-id`` where it names none. No field of it may be
    null.
    """

    page_size = PAGE_SIZE
    page_size_query_param = "page_size"
    max_page_size = MAX_PAGE_SIZE
    ordering = "-id"
    page_size_query_description = f"Rows in a page, at most {MAX_PAGE_SIZE}."
    cursor_query_description = "The place in the list, as in the links `next` and `previous`."
    template = None

    def get_ordering(
        self, request: Request, queryset: QuerySet[Any], view: Any = None
    ) -> tuple[str, ...]:
        chosen = getattr(view, "ordering", None) or self.ordering
        names = (chosen,) if isinstance(chosen, str) else tuple(chosen)
        if any(name.lstrip("-") in ("id", "pk") for name in names):
            return names
        # Rows that are equal in every named field would otherwise change places between pages.
        return (*names, "-id" if names[0].startswith("-") else "id")

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        self.address = request.build_absolute_uri()
        self.names = self.get_ordering(request, queryset, view)
        size = self.get_page_size(request) or PAGE_SIZE
        edge = self._edge_in(request)
        back = edge is not None and edge.back
        order = _reversed(self.names) if back else self.names
        rows = queryset.order_by(*order)
        if edge is not None:
            rows = _beyond(rows, order, edge)
        found = list(rows[: size + 1])
        there_is_more = len(found) > size
        rows_shown = found[:size]
        self.rows = rows_shown[::-1] if back else rows_shown
        self.has_next = True if back else there_is_more
        self.has_previous = there_is_more if back else edge is not None
        return self.rows

    def get_next_link(self) -> str | None:
        return self._link(self.rows[-1:], back=False) if self.has_next else None

    def get_previous_link(self) -> str | None:
        return self._link(self.rows[:1], back=True) if self.has_previous else None

    def _link(self, rows: Sequence[Any], *, back: bool) -> str:
        if not rows:  # the page's rows are gone meanwhile: begin again
            return remove_query_param(self.address, self.cursor_query_param)
        values = tuple(_value(rows[0], name.lstrip("-")) for name in self.names)
        return replace_query_param(self.address, self.cursor_query_param, Edge(values, back).text())

    def _edge_in(self, request: Request) -> Edge | None:
        text = request.query_params.get(self.cursor_query_param)
        if text is None:
            return None
        try:
            return Edge.read(text, len(self.names))
        except ValueError as error:
            raise _not_given_out() from error


def _not_given_out() -> Invalid:
    right = "the cursor of a link that was answered"
    fault = FieldError("cursor", "This cursor was not given out here.", right)
    return Invalid(kinds.INVALID.code, kinds.INVALID.title, errors=[fault])


def _reversed(names: Sequence[str]) -> tuple[str, ...]:
    return tuple(name[1:] if name.startswith("-") else f"-{name}" for name in names)


def _beyond(rows: QuerySet[Any], order: Sequence[str], edge: Edge) -> QuerySet[Any]:
    """The rows after the edge: greater in one field, and equal to it in all fields before that."""
    after, equal = Q(), Q()
    for name, value in zip(order, edge.values, strict=True):
        field, greater = name.lstrip("-"), "lt" if name.startswith("-") else "gt"
        after |= equal & Q(**{f"{field}__{greater}": value})
        equal &= Q(**{field: value})
    # Says nothing new, but lets the database use an index on the first field.
    first = order[0].lstrip("-")
    reach = Q(**{f"{first}__{'lte' if order[0].startswith('-') else 'gte'}": edge.values[0]})
    try:
        return rows.filter(reach & after)
    except (TypeError, ValueError, ValidationError) as error:
        raise _not_given_out() from error


def _value(row: Any, name: str) -> str | int | float | bool:
    path = name.split("__")
    value = row[name] if isinstance(row, dict) else functools.reduce(getattr, path, row)
    if isinstance(value, bool | int | float):
        return value
    return value.isoformat() if hasattr(value, "isoformat") else force_str(value)

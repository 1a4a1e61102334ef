"""``@versioned``: a handler runs only if the caller knows the current version of the row."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from shopcal.api.etags import check_if_match, require_if_match


def versioned(handler: Callable[..., Response]) -> Callable[..., Response]:
    """Find the row, compare ``If-Match``, and call ``handler(self, request, row, version)``.

    The handler gives ``version`` to its service, which must compare again while it writes (a
    conditional update): someone may come between this check and the write.

    Raises:
        Refusal: 428 ``version_needed``.
        Stale: 412 ``changed_meanwhile``, with what is there now as ``facts.current``.
        TypeError: at import, where it is put outside ``idempotent``.
    """
    if getattr(handler, "takes_idempotency_key", False):
        raise TypeError("Put @idempotent above @versioned: a repeat must be answered, not refused.")

    @functools.wraps(handler)
    def with_version(view: Any, request: Request, **kwargs: Any) -> Response:
        require_if_match(request)
        row = view.get_object()
        version = check_if_match(request, row.version, view.summary_of(row))
        return handler(view, request, row, version)

    with_version.needs_if_match = True  # type: ignore[attr-defined]
    return with_version

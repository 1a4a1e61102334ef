"""``Idempotency-Key``: a request that is sent again has its effect once and gets the same answer.

A client that hears nothing cannot know whether its booking was made, for a commit may succeed
unacknowledged. It sends the same request with the same key again and learns what became of it.
"""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.db import IntegrityError, connection, transaction
from django.http import Http404, QueryDict
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.encoders import JSONEncoder

from shopcal.accounts.actor import Actor
from shopcal.api import kinds
from shopcal.api.models import IdempotencyKey
from shopcal.errors import Conflict, FieldError, Invalid, Refusal

HEADER = "Idempotency-Key"
REPLAYED = "Idempotency-Replayed"
RETRY_SECONDS = 1
MAX_LENGTH = 255
MAX_PATH = 400
_KEPT_HEADERS = ("Location", "ETag")


def idempotent(
    handler: Callable[..., Response] | None = None, *, conceal: Sequence[str] = ()
) -> Any:
    """Let a handler's effect happen once per key; without the header it runs as it is.

    The key counts per shop, caller, method and path. A refusal is not kept: it undid everything,
    so the request may simply be tried again. Members named in ``conceal`` are secrets; they are
    null in the kept copy. This decorator goes outside ``versioned``, or a request that is sent
    again would be told that its own change is in its way.
    """
    if handler is None:
        return functools.partial(idempotent, conceal=conceal)
    inner = handler

    @functools.wraps(inner)
    def once(view: Any, request: Request, *args: Any, **kwargs: Any) -> Response:
        key = key_in(request)
        if key is None:
            return inner(view, request, *args, **kwargs)
        with transaction.atomic():
            row, is_new = _claim(request, view.actor, key)
            if not is_new:
                return _replay(row)
            response = inner(view, request, *args, **kwargs)
            if response.status_code >= 400:
                transaction.set_rollback(True)
            else:
                _keep(row, response, conceal)
            return response

    once.takes_idempotency_key = True  # type: ignore[attr-defined]
    return once


def key_in(request: Request) -> str | None:
    """The key sent with a request, with or without quotes; None where there is none.

    Raises:
        Refusal: 400 ``unreadable``: it is empty, too long, or not printable ASCII.
    """
    raw = request.headers.get(HEADER)
    if raw is None:
        return None
    key: str = raw.strip()
    if len(key) >= 2 and key[0] == key[-1] == '"':
        key = key[1:-1]
    if not key or len(key) > MAX_LENGTH or not key.isascii() or not key.isprintable():
        right = f"1 to {MAX_LENGTH} printable characters, such as a random UUID"
        raise Refusal(
            kinds.UNREADABLE.code,
            kinds.UNREADABLE.title,
            status=kinds.UNREADABLE.status,
            errors=[FieldError(HEADER, "This is not a usable key.", right)],
        )
    return key


def digest_of_content(request: Request) -> str:
    """SHA-256 of query and content, whatever the order of an object's members."""
    content: Any = request.data
    if isinstance(content, QueryDict):
        content = {name: [_plain(v) for v in content.getlist(name)] for name in content}
    whole = {"query": sorted(request.query_params.lists()), "content": content}
    text = json.dumps(whole, sort_keys=True, separators=(",", ":"), cls=JSONEncoder)
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: Any) -> Any:
    if not isinstance(value, UploadedFile):
        return value
    digest = hashlib.sha256()
    for chunk in value.chunks():
        digest.update(chunk)
    value.seek(0)
    return {"file": value.name, "sha256": digest.hexdigest()}


def _claim(request: Request, actor: Actor, key: str) -> tuple[IdempotencyKey, bool]:
    """The kept row and False, or a new one and True; the caller's transaction must be open.

    Two requests with one key race here. SQLite lets one transaction write at a time, so the second
    waits at its beginning and then finds the row. PostgreSQL would let it wait at the unique key;
    the advisory lock tells it at once that the first is still at work. The unique key has the last
    word on both.
    """
    if len(request.path) > MAX_PATH:
        raise Http404
    place: dict[str, Any] = {
        "shop_id": actor.shop_id,
        "caller": f"membership:{actor.membership_id}",
        "method": request.method,
        "path": request.path,
        "key": key,
    }
    if not _lock(place):
        raise _in_use()
    digest = digest_of_content(request)
    kept = IdempotencyKey.objects.filter(**place).first()
    if kept is not None:
        if kept.digest != digest:
            raise Invalid(
                kinds.KEY_REUSED.code, kinds.KEY_REUSED.title, detail=kinds.KEY_REUSED.says
            )
        return kept, False
    try:
        with transaction.atomic():
            return IdempotencyKey.objects.create(**place, digest=digest), True
    except IntegrityError as error:
        raise _in_use() from error


def _in_use() -> Conflict:
    return Conflict(
        kinds.KEY_IN_USE.code,
        kinds.KEY_IN_USE.title,
        detail="Send it again in a moment to get its answer.",
        facts={"retry_after_seconds": RETRY_SECONDS},
    )


def _lock(place: Mapping[str, Any]) -> bool:
    """Take the place until the transaction ends; False where another transaction has it."""
    if connection.vendor != "postgresql":
        return True
    digest = hashlib.sha256(repr(sorted(place.items())).encode()).digest()
    number = int.from_bytes(digest[:8], "big", signed=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [number])
        return bool(cursor.fetchone()[0])


def _keep(row: IdempotencyKey, response: Response, conceal: Sequence[str]) -> None:
    data = response.data
    if conceal and isinstance(data, Mapping):
        data = {name: None if name in conceal else value for name, value in data.items()}
    row.status = response.status_code
    row.headers = {name: response[name] for name in _KEPT_HEADERS if name in response}
    row.body = "" if data is None else json.dumps(data, cls=JSONEncoder)
    row.save(update_fields=["status", "headers", "body"])


def _replay(row: IdempotencyKey) -> Response:
    return Response(
        json.loads(row.body) if row.body else None,
        status=row.status,
        headers={**row.headers, REPLAYED: "true"},
    )


def forget_keys_before(moment: datetime) -> int:
    """Delete what was kept before this moment, in small lots; returns how many.

    A long transaction would keep everybody else from writing on SQLite.
    """
    gone = 0
    while True:
        lot = list(
            IdempotencyKey.objects.filter(created_at__lt=moment).values_list("pk", flat=True)[:500]
        )
        if not lot:
            return gone
        gone += IdempotencyKey.objects.filter(pk__in=lot).delete()[0]

"""The kinds of problem the API answers with: what each code means, served at ``/api/problems/``.

An app describes its own codes where its routes are: ``describe("no_room", 409, "…", "…")``. A code
that nobody described is still answered with, but its page says that there is nothing more to read.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from shopcal.api.conf import PROBLEMS_PREFIX


@dataclass(frozen=True)
class ProblemKind:
    """``says`` explains to a programmer what happened and what to do about it."""

    code: str
    status: int
    title: str
    says: str

    @property
    def type(self) -> str:
        return type_of(self.code)


_KINDS: Final[dict[str, ProblemKind]] = {}


def type_of(code: str) -> str:
    """The relative reference that RFC 9457 calls ``type``."""
    return f"{PROBLEMS_PREFIX}{code}"


def describe(code: str, status: int, title: str, says: str) -> ProblemKind:
    """Add a code to the list; describing it twice in different words is a mistake.

    Raises:
        ValueError: the code is already described otherwise.
    """
    kind = ProblemKind(code, status, title, says)
    if _KINDS.setdefault(code, kind) != kind:
        raise ValueError(f"The problem code {code!r} is already described otherwise.")
    return kind


def kind_of(code: str) -> ProblemKind | None:
    """What is written about a code, or None."""
    return _KINDS.get(code)


def every_kind() -> list[ProblemKind]:
    """All described kinds by code."""
    return [_KINDS[code] for code in sorted(_KINDS)]


UNREADABLE = describe(
    "unreadable", 400, "The request could not be read.",
    "The body is not well formed, or a header is not. Correct it before sending it again.",
)  # fmt: skip
INVALID = describe(
    "invalid", 422, "Some of what was given is wrong.",
    "Each entry of `errors` has the `path` of a field, what it `says`, and what would be `right`.",
)  # fmt: skip
STRANGER = describe(
    "not_signed_in", 401, "Sign in or send a token.",
    "Send `Authorization: Bearer <token>`, or use the session of a person who has signed in.",
)  # fmt: skip
TOKEN_REFUSED = describe(
    "token_refused", 401, "The token is not accepted.",
    "It is unknown, revoked, out of date, or its person no longer belongs to the shop.",
)  # fmt: skip
CSRF = describe(
    "csrf", 403, "The request did not come from a page of this service.",
    "A session needs the header `X-CSRFToken` for whatever changes something; a token does not.",
)  # fmt: skip
NOT_ALLOWED = describe(
    "not_allowed", 403, "This is not allowed.",
    "The person is known but their role may not do this. `facts.roles` names the roles that may.",
)  # fmt: skip
NO_SHOP = describe(
    "no_shop", 403, "No shop is chosen.",
    "The person belongs to no shop, or to several and has not chosen one in this session.",
)  # fmt: skip
MISSING = describe(
    "missing", 404, "There is no such thing in this shop.",
    "Things of other shops are answered the same way. Addresses end in a slash.",
)  # fmt: skip
WRONG_METHOD = describe(
    "wrong_method", 405, "This address does not take that method.",
    "The header `Allow` names the methods it takes.",
)  # fmt: skip
NOT_ACCEPTABLE = describe(
    "not_acceptable", 406, "The answer cannot be given in that format.",
    "Ask for `application/json`.",
)  # fmt: skip
WRONG_FORMAT = describe(
    "wrong_format", 415, "The body is in a format that is not understood here.",
    "Send `application/json` unless the description of the endpoint names another format.",
)  # fmt: skip
TOO_MANY = describe(
    "too_many_requests", 429, "Too many requests.",
    "Wait as many seconds as the header `Retry-After` says.",
)  # fmt: skip
UNEXPECTED = describe(
    "unexpected", 500, "Something went wrong in the service.",
    "The fault is logged. Whatever was begun was undone.",
)  # fmt: skip
BUSY = describe(
    "busy", 503, "The service is busy.",
    "Nothing was changed. Wait as many seconds as `Retry-After` says and send the same again, with "
    "the same `Idempotency-Key` if there was one.",
)  # fmt: skip
IN_THE_WAY = describe(
    "in_the_way", 409, "Something else depends on this.",
    "The database refused the change because it clashes with other rows.",
)  # fmt: skip
STALE = describe(
    "changed_meanwhile", 412, "This was changed meanwhile.",
    "`If-Match` names a version that is no longer the current one. `facts.current` says which is: "
    "read it again, apply the change to it, and send that with the new tag.",
)  # fmt: skip
VERSION_NEEDED = describe(
    "version_needed", 428, "Say which version this change is meant for.",
    "Send the `ETag` of the answer the change is based on as `If-Match`, so that no one's change "
    "is overwritten unseen.",
)  # fmt: skip
KEY_REUSED = describe(
    "idempotency_key_reused", 422, "This idempotency key belongs to a different request.",
    "The same `Idempotency-Key` came with other content before. Take a new key for a new request.",
)  # fmt: skip
KEY_IN_USE = describe(
    "idempotency_key_in_use", 409, "The same request is being worked on.",
    "A request with the same `Idempotency-Key` has not finished. Wait as `Retry-After` says and "
    "send it again to get its answer.",
)  # fmt: skip

"""Every refusal and failure leaves the API here, as problem details (RFC 9457)."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import PermissionDenied as DjangoPermissionDenied
from django.core.exceptions import ValidationError as DjangoValidationError
from django.core.signals import got_request_exception
from django.db import DatabaseError, IntegrityError, OperationalError
from django.db.models import ProtectedError, RestrictedError
from django.http import Http404
from rest_framework import exceptions
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response
from rest_framework.views import set_rollback

from shopcal.api import kinds
from shopcal.errors import FieldError, Refusal

MEDIA_TYPE = "application/problem+json"
BUSY_SECONDS = 2

# PostgreSQL: lock not available, deadlock, serialization failure, statement cancelled, too many
# connections, shutting down, and the class of connection failures.
# https://www.postgresql.org/docs/15/errcodes-appendix.html
_BUSY_STATES = frozenset({"55P03", "40P01", "40001", "57014", "53300", "57P01", "57P03"})
# Unique, exclusion and foreign key violations. Others, such as a null, are our own mistakes.
_CLASH_STATES = frozenset({"23505", "23P01", "23503"})
_CLASH_NAMES = frozenset(
    f"SQLITE_CONSTRAINT_{kind}" for kind in ("UNIQUE", "PRIMARYKEY", "FOREIGNKEY", "TRIGGER")
)

# What would be right, by the code REST framework gives a fault; its message says what is wrong.
_RIGHT = {
    "required": "Give this field.",
    "null": "Give a value.",
    "blank": "Give at least one character.",
    "empty": "Give at least one entry.",
    "not_a_list": "Give a list.",
    "not_a_dict": "Give an object.",
}

_KIND_OF: dict[type[exceptions.APIException], kinds.ProblemKind] = {
    exceptions.ParseError: kinds.UNREADABLE,
    exceptions.AuthenticationFailed: kinds.TOKEN_REFUSED,
    exceptions.NotAuthenticated: kinds.STRANGER,
    exceptions.PermissionDenied: kinds.NOT_ALLOWED,
    exceptions.NotFound: kinds.MISSING,
    exceptions.MethodNotAllowed: kinds.WRONG_METHOD,
    exceptions.NotAcceptable: kinds.NOT_ACCEPTABLE,
    exceptions.UnsupportedMediaType: kinds.WRONG_FORMAT,
    exceptions.Throttled: kinds.TOO_MANY,
}

logger = logging.getLogger("django.request")


class ProblemRenderer(JSONRenderer):
    media_type = MEDIA_TYPE
    format = "problem"


@dataclass(frozen=True)
class Problem:
    """One answer: RFC 9457's members, and ours: ``code``, ``errors``, ``facts``."""

    code: str
    title: str
    status: int
    detail: str = ""
    errors: tuple[FieldError, ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, kind: kinds.ProblemKind, **more: Any) -> Problem:
        return cls(kind.code, kind.title, kind.status, **more)

    def content(self, instance: str) -> dict[str, Any]:
        """The body; ``instance`` is the path that was asked for."""
        body: dict[str, Any] = {
            "type": kinds.type_of(self.code),
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
            "instance": instance,
            "code": self.code,
            "errors": [{"path": e.path, "says": e.says, "right": e.right} for e in self.errors],
        }
        if self.facts:
            body["facts"] = dict(self.facts)
        return body


def answer_problem(exc: Exception, context: Mapping[str, Any]) -> Response:
    """REST framework's single exit for exceptions."""
    request = context.get("request")
    problem = problem_for(exc)
    if problem.status >= 500:
        _report(exc, problem, request)
    set_rollback()
    if request is not None:
        # The client may have asked for a format that is only for answers that went well.
        request.accepted_renderer = ProblemRenderer()
        request.accepted_media_type = MEDIA_TYPE
    path = request.path if request is not None else ""
    return Response(
        problem.content(path),
        status=problem.status,
        headers=dict(problem.headers),
        content_type=MEDIA_TYPE,
    )


def _report(exc: Exception, problem: Problem, request: Any) -> None:
    if problem.status == kinds.BUSY.status:
        logger.warning("busy: %s", exc)
        return
    logger.error("unexpected failure in the API", exc_info=exc)
    # What Django's own handler sends, so that error reporting and the test client notice.
    got_request_exception.send(sender=None, request=getattr(request, "_request", request))


def problem_for(exc: Exception) -> Problem:
    """The problem an exception stands for; anything not known is ``unexpected``."""
    match exc:
        case Refusal():
            problem = _of_refusal(exc)
        case exceptions.APIException():
            problem = _of_framework(exc)
        case Http404():
            problem = Problem.of(kinds.MISSING)
        case DjangoPermissionDenied():
            problem = Problem.of(kinds.NOT_ALLOWED, detail=str(exc))
        case DjangoValidationError():
            problem = Problem.of(kinds.INVALID, errors=tuple(_django_faults(exc)))
        case DatabaseError():
            problem = _of_database(exc)
        case _:
            problem = Problem.of(kinds.UNEXPECTED)
    return problem


def _of_database(error: DatabaseError) -> Problem:
    if isinstance(error, OperationalError) and is_busy(error):
        return Problem.of(kinds.BUSY, headers={"Retry-After": str(BUSY_SECONDS)})
    # ProtectedError and RestrictedError are Django's own and have no cause in the driver.
    kept = isinstance(error, ProtectedError | RestrictedError)
    if isinstance(error, IntegrityError) and (kept or is_clash(error)):
        return Problem.of(kinds.IN_THE_WAY)
    return Problem.of(kinds.UNEXPECTED)


def is_busy(error: OperationalError) -> bool:
    """True where the database had no time or no place for us, so that trying again may go well."""
    cause = error.__cause__
    state = getattr(cause, "sqlstate", None)
    if state is not None:
        return state in _BUSY_STATES or state.startswith("08")
    if getattr(cause, "sqlite_errorname", "").startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return True
    # A connection that could not be made, or a pool without a free one, has no state.
    return type(cause).__module__.startswith("psycopg")


def is_clash(error: IntegrityError) -> bool:
    """True where the row clashes with other rows, rather than being wrong by itself."""
    cause = error.__cause__
    return (
        getattr(cause, "sqlstate", None) in _CLASH_STATES
        or getattr(cause, "sqlite_errorname", None) in _CLASH_NAMES
    )


def _of_refusal(refusal: Refusal) -> Problem:
    facts = dict(refusal.facts)
    wait = facts.pop("retry_after_seconds", None)
    headers = {} if wait is None else {"Retry-After": str(wait)}
    return Problem(
        refusal.code,
        refusal.title,
        refusal.status,
        detail=refusal.detail,
        errors=tuple(refusal.errors),
        facts=facts,
        headers=headers,
    )


def _of_framework(exc: exceptions.APIException) -> Problem:
    if isinstance(exc, exceptions.ValidationError):
        return Problem.of(kinds.INVALID, errors=tuple(faults_in(exc.detail)))
    detail = exc.detail if isinstance(exc.detail, str) else ""
    headers: dict[str, str] = {}
    if auth_header := getattr(exc, "auth_header", None):
        headers["WWW-Authenticate"] = auth_header
    if isinstance(exc, exceptions.Throttled):
        headers["Retry-After"] = str(max(1, round(getattr(exc, "wait", None) or 1)))
    kind = _KIND_OF.get(type(exc))
    if kind is None:
        return Problem("refused", detail or "Refused.", exc.status_code, headers=headers)
    # What the framework says about these is only the title again.
    told = "" if kind in (kinds.STRANGER, kinds.MISSING) else detail
    return Problem.of(kind, detail=told, headers=headers)


def faults_in(detail: Any, path: str = "") -> Iterator[FieldError]:
    """Flatten REST framework's nested details to paths like ``zones[2].polygon[0]``."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            yield from faults_in(inner, _below(path, name))
    elif isinstance(detail, Sequence) and not isinstance(detail, str):
        # A list of texts is several faults of one field; a list of objects is one entry per row,
        # empty where the row is right.
        for number, inner in enumerate(detail):
            nested = not isinstance(inner, str)
            yield from faults_in(inner, f"{path}[{number}]" if nested else path)
    else:
        yield FieldError(path, str(detail), _RIGHT.get(getattr(detail, "code", ""), ""))


def _below(path: str, name: str | int) -> str:
    if name == "non_field_errors":
        return path
    if isinstance(name, int):  # the framework keys the faults of a list's rows by their number
        return f"{path}[{name}]"
    return f"{path}.{name}" if path else name


def _django_faults(error: DjangoValidationError) -> Iterator[FieldError]:
    if hasattr(error, "error_dict"):
        for name, messages in error.message_dict.items():
            path = "" if name == "__all__" else name
            yield from (FieldError(path, message) for message in messages)
    else:
        yield from (FieldError("", message) for message in error.messages)

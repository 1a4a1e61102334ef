"""Logs with a request id on every line written while a request is answered."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from typing import Any

import structlog
from django.http import HttpRequest, HttpResponse

_SHARED: list[Any] = [
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
    structlog.processors.TimeStamper(fmt="iso", utc=True),
    structlog.processors.StackInfoRenderer(),
]
# A caller's own id is kept, so its log and ours can be read side by side; anything else could
# write whatever it likes into our log.
_ACCEPTABLE_ID = re.compile(r"[A-Za-z0-9_-]{8,64}")


def configured(*, level: str, as_json: bool) -> dict[str, Any]:
    """Set structlog up and return Django's ``LOGGING``: one line an event, to standard error."""
    structlog.configure(
        processors=[*_SHARED, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )
    renderers: list[Any] = (
        [structlog.processors.format_exc_info, structlog.processors.JSONRenderer()]
        if as_json
        else [
            # Tracebacks without local values: those hold passwords, tokens and customers.
            structlog.dev.ConsoleRenderer(
                colors=False, exception_formatter=structlog.dev.plain_traceback
            )
        ]
    )
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "lines": {
                "()": structlog.stdlib.ProcessorFormatter,
                "processors": [
                    structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                    *renderers,
                ],
                "foreign_pre_chain": _SHARED,
            }
        },
        "handlers": {"lines": {"class": "logging.StreamHandler", "formatter": "lines"}},
        "root": {"handlers": ["lines"], "level": level},
        "loggers": {
            # Django's own handlers are replaced, so that every line carries the request id.
            "django": {"handlers": [], "level": level, "propagate": True},
            "django.server": {"handlers": [], "level": "WARNING", "propagate": True},
            "axes": {"level": "WARNING"},
        },
    }


class RequestId:
    """Names every request, in the log and in the answer's ``X-Request-ID``."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-ID", "")
        request_id = given if _ACCEPTABLE_ID.fullmatch(given) else uuid.uuid4().hex
        structlog.contextvars.clear_contextvars()
        # Left bound afterwards: Django logs failed answers when all middleware has returned.
        structlog.contextvars.bind_contextvars(request_id=request_id)
        response = self.get_response(request)
        response["X-Request-ID"] = request_id
        return response

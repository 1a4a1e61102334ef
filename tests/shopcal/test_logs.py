"""Every line logged while a request is answered names the request."""

import json
import logging

import pytest
import structlog
from django.test import Client

from shopcal import logs

pytestmark = pytest.mark.django_db


class Lines(logging.Handler):
    """Keeps each line as it was written at the time."""

    def __init__(self) -> None:
        super().__init__()
        settings = logs.configured(level="INFO", as_json=True)["formatters"]["lines"]
        formatter = settings.pop("()")
        self.setFormatter(formatter(**settings))
        self.lines: list[dict] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(json.loads(self.format(record)))


@pytest.fixture
def lines():
    handler = Lines()
    logging.getLogger().addHandler(handler)
    yield handler.lines
    logging.getLogger().removeHandler(handler)


def test_a_page_not_found_is_logged_with_its_request_id(lines: list[dict]) -> None:
    Client().get("/no-such-page", headers={"x-request-id": "caller-0001"})
    assert {line["request_id"] for line in lines} == {"caller-0001"}
    assert any("/no-such-page" in line["event"] for line in lines)


def test_the_next_request_has_its_own_id(lines: list[dict]) -> None:
    Client().get("/no-such-page", headers={"x-request-id": "caller-0001"})
    Client().get("/no-such-page")
    assert len({line["request_id"] for line in lines}) == 2


def test_our_own_lines_carry_it_too(lines: list[dict]) -> None:
    with structlog.contextvars.bound_contextvars(request_id="caller-0002"):
        structlog.get_logger("shopcal.test").info("counted", zones=3)
    assert lines[-1] | {"event": "counted", "zones": 3, "request_id": "caller-0002"} == lines[-1]
    assert "timestamp" in lines[-1]

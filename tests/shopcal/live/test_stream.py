"""The live process itself, over the network, beside a process that makes things happen."""

from __future__ import annotations

import asyncio
import functools
import json
import os
import signal
import statistics
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

import pytest

from shopcal.accounts.actor import Actor
from shopcal.live.tickets import issue_ticket
from tests.shopcal.machine import Machine, free_port, wait_until

pytestmark = pytest.mark.slow
OURS, THEIRS = 1, 2
ORIGIN = "http://localhost:8000"


def in_event_loop(test: Callable[..., Awaitable[None]]) -> Callable[..., None]:
    @functools.wraps(test)
    def run(**fixtures: Any) -> None:
        asyncio.run(test(**fixtures))

    return run


@dataclass
class LiveService:
    machine: Machine
    port: int
    process: subprocess.Popen[str]
    recorder: subprocess.Popen[str]

    def happen(self, shop_id: int, subject: str, kind: str = "visit.changed") -> float:
        """Have something happen; when it was committed."""
        assert self.recorder.stdin is not None
        assert self.recorder.stdout is not None
        self.recorder.stdin.write(f"{shop_id} {kind} {subject}\n")
        self.recorder.stdin.flush()
        return float(self.recorder.stdout.readline())

    def health(self) -> dict[str, Any]:
        try:
            with urllib.request.urlopen(
                f"http://127.0.0.1:{self.port}/health", timeout=2
            ) as answer:
                return json.load(answer)
        except (urllib.error.URLError, ConnectionError):
            return {}


def serving(machine: Machine) -> LiveService:
    port = free_port()
    process = machine.start(
        *("-m", "uvicorn", "shopcal.live.asgi:application", "--port", str(port)),
        *("--log-level", "warning", "--timeout-graceful-shutdown", "3"),
    )
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    recorder = machine.start("-m", "tests.shopcal.live.recorder", **pipes)
    assert recorder.stdout is not None
    assert recorder.stdout.readline() == "ready\n"
    service = LiveService(machine, port, process, recorder)
    wait_until(service.health)
    return service


@pytest.fixture
def live(machine: Machine) -> LiveService:
    return serving(machine)


@pytest.fixture
def live_on_postgresql(server_machine: Machine) -> LiveService:
    return serving(server_machine)


def ticket(shop_id: int = OURS, *, lives_seconds: int = 600) -> str:
    return issue_ticket(Actor.system(shop_id), lives_seconds=lives_seconds)


@dataclass
class Heard:
    status: int
    headers: dict[str, str]
    reader: asyncio.StreamReader
    arrived: list[float] = field(default_factory=list)

    async def next(self, name: str = "changed") -> dict[str, Any]:
        """The next event of this name, as ``data`` and ``id``."""
        fields: dict[str, str] = {}
        while True:
            line = (await self.reader.readline()).decode()
            if not line:
                raise EOFError
            if line.strip("\r\n"):
                key, _, value = line.strip("\r\n").partition(": ")
                fields[key] = value
            elif fields.pop("event", "") == name:
                self.arrived.append(time.time())
                return {"id": fields.get("id"), "data": json.loads(fields["data"])}
            else:
                fields = {}


@asynccontextmanager
async def listening(port: int, query: str, *, origin: str = ORIGIN) -> AsyncIterator[Heard]:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    # HTTP/1.0, so that the stream comes unchunked.
    head = f"GET /events?{query} HTTP/1.0\r\nHost: 127.0.0.1:{port}\r\nOrigin: {origin}\r\n\r\n"
    writer.write(head.encode())
    try:
        status = int((await reader.readline()).split()[1])
        headers = {}
        while (line := (await reader.readline()).decode().strip()) != "":
            name, _, value = line.partition(": ")
            headers[name.lower()] = value
        yield Heard(status, headers, reader)
    finally:
        writer.close()


async def fan_out_delays(live: LiveService, *, listeners: int, events: int) -> list[float]:
    """Seconds from each commit to each listener's hearing of it."""
    delays: list[float] = []
    async with asyncio.timeout(40):
        entered = [listening(live.port, f"ticket={ticket()}") for _ in range(listeners)]
        heard = [await page.__aenter__() for page in entered]
        await asyncio.to_thread(wait_until, lambda: live.health().get("listeners") == listeners)
        for number in range(events):
            told = [asyncio.create_task(page.next()) for page in heard]
            committed_at = await asyncio.to_thread(live.happen, OURS, f"visit:{number}")
            for news in await asyncio.gather(*told):
                assert news["data"]["subjects"] == [f"visit:{number}"]
            delays += [page.arrived[-1] - committed_at for page in heard]
            await asyncio.sleep(0.03 * number)
        for page in entered:
            await page.__aexit__(None, None, None)
    return delays


def say_delays(delays: list[float]) -> str:
    in_order = sorted(delays)
    return (
        f"median {statistics.median(in_order) * 1000:.0f} ms,"
        f" 95 % {in_order[int(len(in_order) * 0.95)] * 1000:.0f} ms,"
        f" longest {in_order[-1] * 1000:.0f} ms"
    )


@in_event_loop
async def test_fifty_listeners_hear_of_a_change_within_a_second(live: LiveService) -> None:
    delays = await fan_out_delays(live, listeners=50, events=10)
    print(say_delays(delays))
    assert len(delays) == 500
    assert max(delays) < 1


@pytest.mark.service
@in_event_loop
async def test_fifty_listeners_hear_of_a_change_within_a_second_on_postgresql(
    live_on_postgresql: LiveService,
) -> None:
    delays = await fan_out_delays(live_on_postgresql, listeners=50, events=10)
    print(say_delays(delays))
    assert max(delays) < 1


@in_event_loop
async def test_another_shops_events_are_not_heard(live: LiveService) -> None:
    async with listening(live.port, f"ticket={ticket(OURS)}") as page:
        live.happen(THEIRS, "visit:66")
        await asyncio.sleep(0.5)
        live.happen(OURS, "visit:1")
        news = await asyncio.wait_for(page.next(), 5)
    assert news == {
        "id": "1",
        "data": {"seq": 1, "kinds": ["visit.changed"], "subjects": ["visit:1"]},
    }


@in_event_loop
async def test_a_page_that_was_away_hears_what_it_missed(live: LiveService) -> None:
    for number in (1, 2, 3):
        live.happen(OURS, f"visit:{number}")
    async with listening(live.port, f"ticket={ticket()}&since=1") as page:
        news = await asyncio.wait_for(page.next(), 5)
    assert news["data"]["subjects"] == ["visit:2", "visit:3"]


@in_event_loop
async def test_a_page_of_another_database_is_told_that_anything_may_have_changed(
    live: LiveService,
) -> None:
    live.happen(OURS, "visit:1")
    async with listening(live.port, f"ticket={ticket()}&since=500") as page:
        news = await asyncio.wait_for(page.next(), 5)
    assert news["data"] == {"seq": 1, "kinds": ["*"], "subjects": ["*"]}


@pytest.mark.parametrize(
    ("query", "origin", "code"),
    [
        (f"ticket={issue_ticket(Actor.system(1), lives_seconds=-1)}", ORIGIN, "live_ticket_stale"),
        ("ticket=made-up", ORIGIN, "live_ticket_wrong"),
        ("", ORIGIN, "live_ticket_wrong"),
        ("ticket=made-up", "https://elsewhere.test", "live_origin_unknown"),
    ],
    ids=["stale", "made up", "none", "foreign page"],
)
@in_event_loop
async def test_wrong_tickets_and_foreign_pages_are_refused(
    live: LiveService, query: str, origin: str, code: str
) -> None:
    async with listening(live.port, query, origin=origin) as page:
        assert page.status == 403
        assert json.loads(await page.reader.read())["code"] == code
    assert ("access-control-allow-origin" in page.headers) == (origin == ORIGIN)


@in_event_loop
async def test_a_stream_ends_with_its_ticket_and_is_let_in_for_our_pages_only(
    live: LiveService,
) -> None:
    async with (
        asyncio.timeout(10),
        listening(live.port, f"ticket={ticket(lives_seconds=2)}") as page,
    ):
        assert page.headers["access-control-allow-origin"] == ORIGIN
        assert page.headers["content-type"].startswith("text/event-stream")
        with pytest.raises(EOFError):
            await page.next()
    assert await asyncio.to_thread(wait_until, lambda: live.health()["listeners"] == 0)


@in_event_loop
async def test_a_page_that_leaves_is_forgotten(live: LiveService) -> None:
    async with listening(live.port, f"ticket={ticket()}"):
        await asyncio.to_thread(wait_until, lambda: live.health()["listeners"] == 1)
    await asyncio.to_thread(wait_until, lambda: live.health()["listeners"] == 0)


@in_event_loop
async def test_the_live_process_stops_within_its_three_seconds_while_pages_listen(
    live: LiveService,
) -> None:
    async with listening(live.port, f"ticket={ticket()}"):
        asked_at = time.monotonic()
        os.kill(live.process.pid, signal.SIGTERM)
        await asyncio.to_thread(live.process.wait, 10)
    assert time.monotonic() - asked_at < 5

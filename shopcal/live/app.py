"""The program that sends hints to open pages: server-sent events, a small ASGI application.

``GET <anything>/events?ticket=…&since=…`` streams; ``GET <anything>/health`` says how it is. The
ticket is what lets a page in; the origin is checked besides, as browsers ask for it.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable, MutableMapping
from contextlib import asynccontextmanager, suppress
from typing import Any
from urllib.parse import parse_qs, urlsplit

from django import db
from django.conf import settings
from django.http.request import validate_host

from shopcal.errors import NotAllowed
from shopcal.live import feed
from shopcal.live.hub import EVERYTHING, Hint, Hub, Listener, News
from shopcal.live.poller import Poller
from shopcal.live.tickets import Ticket, read_ticket

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
Headers = list[tuple[bytes, bytes]]

HEARTBEAT_SECONDS = 15.0
SLOWEST_SEND_SECONDS = 30.0
MOST_LISTENERS = 2000
BEAT = b"event: beat\ndata: -\n\n"  # an event, since pages cannot hear comments
LAST = {"type": "http.response.body", "body": b""}
STREAM_HEADERS: Headers = [
    (b"content-type", b"text/event-stream; charset=utf-8"),
    (b"cache-control", b"no-store"),
    (b"x-accel-buffering", b"no"),  # proxies that would hold the stream back until it is long
]


class LiveApp:
    """One process's listeners and its poller."""

    def __init__(self, *, heartbeat_seconds: float = HEARTBEAT_SECONDS) -> None:
        self.heartbeat_seconds = heartbeat_seconds
        self.hub = Hub()
        self.poller = Poller(self.hub)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._live(receive, send)
        elif scope["type"] == "http":
            await self._answer(scope, receive, send)

    async def _live(self, receive: Receive, send: Send) -> None:
        await receive()
        polling = asyncio.create_task(self.poller.run())
        await send({"type": "lifespan.startup.complete"})
        await receive()
        polling.cancel()
        with suppress(asyncio.CancelledError):
            await polling
        self.poller.close()
        await send({"type": "lifespan.shutdown.complete"})

    async def _answer(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope["path"].rstrip("/")
        if scope["method"] != "GET":
            await _refuse(send, 405, "method_not_allowed")
        elif path.endswith("/health"):
            away = self.poller.away_since is not None
            await _reply(send, 503 if away else 200, {"listeners": len(self.hub), "away": away})
        elif not path.endswith("/events"):
            await _refuse(send, 404, "not_found")
        else:
            await self._admit(scope, receive, send)

    async def _admit(self, scope: Scope, receive: Receive, send: Send) -> None:
        origin = _header(scope, b"origin")
        if origin and not _welcome(origin, _header(scope, b"host")):
            await _refuse(send, 403, "live_origin_unknown")
            return
        cors: Headers = [(b"vary", b"Origin")]
        if origin:
            cors.append((b"access-control-allow-origin", origin.encode("latin-1")))
        asked = parse_qs(scope["query_string"].decode("latin-1"))
        try:
            ticket = read_ticket(asked.get("ticket", [""])[0])
        except NotAllowed as refusal:
            await _refuse(send, refusal.status, refusal.code, cors)
            return
        if len(self.hub) >= MOST_LISTENERS:
            await _refuse(send, 503, "live_full", cors)
            return
        try:
            async with self._listening(ticket.shop_id, asked.get("since", [""])[0]) as listener:
                await self._stream(listener, ticket, receive, send, cors)
        except db.Error:
            # Raised only before the stream has begun, by the first reading.
            await _refuse(send, 503, "live_database_away", cors)

    @asynccontextmanager
    async def _listening(self, shop_id: int, since: str) -> AsyncIterator[Listener]:
        """A listener that has been offered what it missed since ``since``.

        It joins first and looks back afterwards: the other way round, an event in between would be
        missed. What both find is told twice, which is harmless.
        """
        last = await self.poller.ask(feed.last_seq, shop_id)
        # A number from the future is a page of another database, such as one restored from a copy.
        from_seq = int(since) if since.isdecimal() and int(since) <= last else last
        listener = self.hub.join(shop_id, last_seq=last, since=from_seq)
        try:
            missed = await self.poller.ask(feed.hints_after, shop_id, from_seq)
            if len(missed) > feed.MOST_HINTS or (since.isdecimal() and int(since) > last):
                missed = [
                    Hint(max(last, *(hint.seq for hint in missed), 0), EVERYTHING, EVERYTHING)
                ]
            listener.offer(missed)
            yield listener
        finally:
            self.hub.leave(listener)

    async def _stream(
        self, listener: Listener, ticket: Ticket, receive: Receive, send: Send, cors: Headers
    ) -> None:
        """Send hints and heartbeats until the page leaves or its ticket ends."""
        await send({"type": "http.response.start", "status": 200, "headers": STREAM_HEADERS + cors})
        await _write(send, b": listening\n\n")
        until = asyncio.get_running_loop().time() + ticket.seconds_left
        gone = asyncio.create_task(_disconnected(receive))
        try:
            while (left := until - asyncio.get_running_loop().time()) > 0 and not gone.done():
                ready = asyncio.create_task(listener.ready.wait())
                await asyncio.wait(
                    {ready, gone},
                    timeout=min(self.heartbeat_seconds, left),
                    return_when=asyncio.FIRST_COMPLETED,
                )
                ready.cancel()
                if not gone.done():
                    news = listener.take()
                    await _write(send, BEAT if news is None else _event(news))
            await send(LAST)
        except asyncio.CancelledError:
            # The process stops. Ended properly, or every listener costs a traceback in the log.
            await send(LAST)
        except (OSError, TimeoutError):
            return  # the page is gone, or so slow that it is better off connecting again
        finally:
            gone.cancel()


def _event(news: News) -> bytes:
    data = json.dumps(
        {"seq": news.seq, "kinds": news.kinds, "subjects": news.subjects}, separators=(",", ":")
    )
    return f"id: {news.seq}\nevent: changed\ndata: {data}\n\n".encode()


async def _write(send: Send, body: bytes) -> None:
    message = {"type": "http.response.body", "body": body, "more_body": True}
    await asyncio.wait_for(send(message), SLOWEST_SEND_SECONDS)


async def _disconnected(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


def _header(scope: Scope, name: bytes) -> str:
    found: bytes = next((value for key, value in scope["headers"] if key == name), b"")
    return found.decode("latin-1")


def _welcome(origin: str, host: str) -> bool:
    """Whether pages of this origin are ours: of a host we serve, or of the one that was asked."""
    name = urlsplit(origin).hostname or ""
    return validate_host(name, settings.ALLOWED_HOSTS) or name == urlsplit(f"//{host}").hostname


async def _refuse(send: Send, status: int, code: str, headers: Headers | None = None) -> None:
    await _reply(send, status, {"code": code}, headers)


async def _reply(
    send: Send, status: int, content: dict[str, Any], headers: Headers | None = None
) -> None:
    kind = (b"content-type", b"application/json")
    await send(
        {"type": "http.response.start", "status": status, "headers": [kind, *(headers or [])]}
    )
    await send({"type": "http.response.body", "body": json.dumps(content).encode()})

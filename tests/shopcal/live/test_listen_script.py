"""The page's script in a real browser, against the real pages and live processes."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Page, Route, sync_playwright

from shopcal.accounts.actor import Actor
from shopcal.live.tickets import issue_ticket
from tests.shopcal.machine import Machine, free_port, listens, wait_until

pytestmark = pytest.mark.browser

SIGN_IN = """
import os
os.environ["DJANGO_SETTINGS_MODULE"] = "shopcal.settings"
import django; django.setup()
from importlib import import_module
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from shopcal.accounts.models import Membership, Shop, User
from shopcal.accounts.selectors import memberships
user = User.objects.create_user("tobin@example.test", "Tobin Ashgrove")
shop = Shop.objects.get(slug="fennhollow")
member = Membership.objects.create(user=user, shop=shop, role="technician")
session = import_module(settings.SESSION_ENGINE).SessionStore()
session[SESSION_KEY] = str(user.pk)
session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
session[HASH_SESSION_KEY] = user.get_session_auth_hash()
session[memberships.SESSION_KEY] = member.pk
session.save()
print(session.session_key)
"""
# Put into a page of the service itself, so that its content security policy holds too.
BEGIN = """(url) => {
  window.heard = [];
  for (const name of ["changed", "changed:visit", "changed:visit:12", "changed:unit"])
    document.body.addEventListener(name, (event) => window.heard.push([name, event.detail]));
  document.body.innerHTML = '<span data-live-state></span>';
  const source = document.createElement("div");
  source.id = "live";
  const facts = {url, livesSeconds: 600, seq: 0, ticketUrl: "/live/ticket/"};
  Object.assign(source.dataset, facts, {sinceUrl: "/live/since/0/"});
  const script = Object.assign(document.createElement("script"), {type: "module"});
  script.src = "/static/live.js";
  document.body.append(source, script);
}"""


class Shown:
    """A page that listens, what it heard, and the processes behind it."""

    def __init__(self, machine: Machine, page: Page) -> None:
        self.machine, self.page = machine, page
        self.port, self.live_port = free_port(), free_port()
        machine.environment |= {
            "SHOPCAL_LIVE_PORT": str(self.live_port),
            "SHOPCAL_PUBLIC_URL": f"http://localhost:{self.port}",
        }
        self.recorder = machine.start(
            "-m", "tests.shopcal.live.recorder", stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )
        assert self.recorder.stdout is not None
        assert self.recorder.stdout.readline() == "ready\n"
        self.cookie = machine.run("-c", SIGN_IN).strip()
        machine.start(
            *("-m", "granian", "--interface", "wsgi", "--port", str(self.port)),
            *("--log-level", "warning", "--blocking-threads", "4", "shopcal.wsgi:application"),
        )
        self.live = self.start_live()

    def start_live(self) -> subprocess.Popen[str]:
        return self.machine.start(
            *("-m", "uvicorn", "shopcal.live.asgi:application", "--port", str(self.live_port)),
            *("--log-level", "warning"),
        )

    def open(self) -> None:
        ticket = issue_ticket(Actor.system(1))
        url = f"http://localhost:{self.live_port}/events?ticket={ticket}"
        address = f"http://localhost:{self.port}/healthz"
        self.page.context.add_cookies(
            [{"name": "shopcal_session", "value": self.cookie, "url": address}]
        )
        for port in (self.port, self.live_port):
            wait_until(lambda port=port: listens(port))
        self.page.goto(address)
        self.page.evaluate(BEGIN, url)

    def happen(self, kind: str, subject: str) -> None:
        assert self.recorder.stdin is not None
        assert self.recorder.stdout is not None
        self.recorder.stdin.write(f"1 {kind} {subject}\n")
        self.recorder.stdin.flush()
        self.recorder.stdout.readline()

    def heard(self) -> list[Any]:
        return self.page.evaluate("window.heard")

    def wait_for_heard(self, name: str, *, seconds: float) -> None:
        # Asked again and again: waiting inside the page needs eval, which its policy forbids.
        until = time.monotonic() + seconds
        while name not in [heard for heard, _ in self.heard()]:
            assert time.monotonic() < until, f"{name} was not heard within {seconds} s"
            self.page.wait_for_timeout(20)

    def wait_for_state(self, state: str, *, seconds: float = 20) -> None:
        self.page.wait_for_selector(f'[data-live-state="{state}"]', timeout=seconds * 1000)


@pytest.fixture
def shown(machine: Machine) -> Iterator[Shown]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            # The system's browser where there is one; inside a container it runs without a sandbox.
            executable_path=shutil.which("chromium"),
            args=["--no-sandbox"],
        )
        yield Shown(machine, browser.new_page())
        browser.close()


def test_a_change_reaches_the_page_as_events_for_its_elements(shown: Shown) -> None:
    shown.open()
    shown.wait_for_state("live")
    shown.happen("visit.checked_in", "visit:12")
    shown.wait_for_heard("changed:visit:12", seconds=1)
    detail = {"kinds": ["visit.checked_in"], "subjects": ["visit:12"]}
    assert shown.heard() == [[f"changed{of}", detail] for of in ("", ":visit", ":visit:12")]


def test_a_page_cut_off_says_so_and_catches_up_with_what_it_missed(shown: Shown) -> None:
    shown.open()
    shown.wait_for_state("live")
    os.kill(shown.live.pid, signal.SIGKILL)
    shown.wait_for_state("lost")
    assert shown.page.inner_text("[data-live-state]") == "offline, reconnecting"
    shown.happen("unit.taken_out", "unit:7")
    shown.start_live()
    shown.wait_for_heard("changed:unit", seconds=10)


def test_a_page_whose_stream_does_not_come_through_asks_instead(shown: Shown) -> None:
    def block(route: Route) -> None:
        route.abort()

    shown.page.route(f"http://localhost:{shown.live_port}/**", block)
    shown.open()
    shown.wait_for_state("asking")
    shown.happen("unit.taken_out", "unit:7")
    shown.wait_for_heard("changed:unit", seconds=5)
    assert len([name for name, _ in shown.heard() if name == "changed"]) == 1


def test_a_page_that_is_signed_out_meanwhile_stops_asking(shown: Shown) -> None:
    shown.open()
    shown.wait_for_state("live")
    shown.page.context.clear_cookies()
    os.kill(shown.live.pid, signal.SIGKILL)
    shown.wait_for_state("stopped")

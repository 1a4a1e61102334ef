"""A whole service and real browsers: on the embedded default, or on PostgreSQL + Redis + Celery
where the environment names them."""

from __future__ import annotations

import os
import shutil
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.handlers import Message as Receiver
from playwright.sync_api import Browser, Page, sync_playwright

from tests.shopcal.machine import Machine, free_port, on_postgresql, wait_until

PASSWORD = "journey-password"
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
SHOTS = Path(__file__).parent / "shots"


class Inbox(Receiver):
    """A receiver that drops a message it has seen already, by its Message-ID, as receivers do."""

    def __init__(self) -> None:
        super().__init__(message_class=EmailMessage)
        self.kept: dict[str, EmailMessage] = {}
        self.deliveries = 0

    def handle_message(self, message: EmailMessage) -> None:
        self.deliveries += 1
        self.kept.setdefault(message["Message-ID"], message)

    def to(self, address: str) -> list[EmailMessage]:
        return [mail for mail in self.kept.values() if mail["To"] == address]


@dataclass
class House:
    """One running service with the invented shop in it."""

    place: Machine
    port: int
    inbox: Inbox
    serve_arguments: tuple[str, ...]
    log: Path
    running: list = field(default_factory=list)

    @property
    def address(self) -> str:
        return f"http://localhost:{self.port}"

    def start(self) -> None:
        out = self.log.open("a")
        self.running.append(
            self.place.start("manage.py", "serve", *self.serve_arguments, stdout=out, stderr=out)
        )
        wait_until(self.answers, seconds=60)

    def answers(self) -> bool:
        try:
            with urllib.request.urlopen(f"{self.address}/healthz", timeout=2) as answer:
                return answer.status == 200
        except OSError:
            return False


def redis_of_this_worker(url: str) -> str:
    """A numbered database of Redis for each pytest worker: journeys side by side share no queue."""
    server, _, number = url.rpartition("/")
    worker = os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw")
    return f"{server}/{int(number) + int(worker)}"


DEMO = ("manage.py", "demo", "--no-serve", "--empty", "--password", PASSWORD)


@pytest.fixture(scope="session")
def furnished_data(migrated_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with the empty invented shop, to be copied."""
    data = tmp_path_factory.mktemp("furnished") / "data"
    shutil.copytree(migrated_data, data)
    Machine(data).run(*DEMO)
    return data


@pytest.fixture(scope="session")
def furnished_server(
    migrated_server: str, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    """The name of a PostgreSQL database with the empty invented shop, to be copied."""
    folder = tmp_path_factory.mktemp("furnished_server")
    with on_postgresql(folder, template=migrated_server) as made:
        made.run(*DEMO)
        yield made.database_name


@contextmanager
def furnished_machine(request: pytest.FixtureRequest, folder: Path) -> Iterator[Machine]:
    """The empty invented shop on whichever back end the environment names."""
    if redis_url := os.environ.get("REDIS_URL"):
        template = request.getfixturevalue("furnished_server")
        with on_postgresql(folder, template=template) as place:
            place.environment["REDIS_URL"] = redis_of_this_worker(redis_url)
            yield place
        return
    shutil.copytree(request.getfixturevalue("furnished_data"), folder / "data")
    place = Machine(folder / "data")
    try:
        yield place
    finally:
        place.close()


@contextmanager
def open_house(request: pytest.FixtureRequest, folder: Path) -> Iterator[House]:
    """The running service, and a mail server that keeps what it is sent."""
    inbox, port, live_port = Inbox(), free_port(), free_port()
    post = Controller(inbox, hostname="127.0.0.1", port=free_port())
    post.start()
    arguments = ["--port", str(port), "--live-port", str(live_port)]
    with furnished_machine(request, folder) as place:
        place.environment |= {
            "SHOPCAL_PUBLIC_URL": f"http://localhost:{port}",
            "SHOPCAL_EMAIL_HOST": "127.0.0.1",
            "SHOPCAL_EMAIL_PORT": str(post.port),
            "SHOPCAL_EMAIL_TLS": "no",
            "SHOPCAL_LIVE_PORT": str(live_port),
        }
        if "REDIS_URL" in place.environment:
            arguments.append("--with-workers")
        made = House(place, port, inbox, tuple(arguments), folder / "serve.log")
        made.start()
        yield made
        post.stop()
        print(made.log.read_text()[-4000:])


@pytest.fixture
def house(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[House]:
    with open_house(request, tmp_path) as made:
        yield made


OpenBrowser = Callable[..., Page]


@pytest.fixture
def browser_for(house: House) -> Iterator[OpenBrowser]:
    """A browser of its own for each person, signed in."""
    with ExitStack() as stack:
        driver = stack.enter_context(sync_playwright())
        browsers: list[Browser] = []

        def opened(email: str, *, width: int = 1320, height: int = 900) -> Page:
            browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            browsers.append(browser)
            page = browser.new_page(viewport={"width": width, "height": height})
            page.set_default_timeout(20_000)
            page.goto(f"{house.address}/sign-in")
            page.get_by_label("Email address").fill(email)
            page.get_by_label("Password").fill(PASSWORD)
            page.get_by_role("button", name="Sign in").click()
            page.wait_for_url(lambda url: "sign-in" not in url)
            return page

        yield opened
        for browser in browsers:
            browser.close()


def shoot(page: Page, name: str) -> None:
    """Keep a picture for a person to look at; the folder is not committed."""
    SHOTS.mkdir(exist_ok=True)
    page.screenshot(path=SHOTS / f"{name}.png", full_page=True)


def seconds_until(true: Callable[[], bool], *, within: float) -> float:
    """How long it took until something was so; fails when it took longer."""
    begun = time.monotonic()
    wait_until(true, seconds=within)
    return time.monotonic() - begun

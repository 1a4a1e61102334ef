"""Steps moved on the day board: by mouse and keys, refused in words, taken back, seen by all."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Locator, Page, expect

from jobs.intake.vin_form import check_digit
from tests.journeys.conftest import House, OpenBrowser, shoot

pytestmark = [pytest.mark.browser, pytest.mark.slow]

DESK, MANAGER = "desk@fennhollow.example", "manager@fennhollow.example"
BARS = "a.bar[data-movable]"


def booked(desk: Page, house: House, serial: str) -> str:
    """Book a vehicle by its first offer; the number of its repair order."""
    vin = f"5ZZCP5DF{check_digit(f'5ZZCP5DF0{serial}')}{serial}"
    desk.goto(f"{house.address}/book/")
    desk.get_by_label("VIN").fill(vin)
    desk.get_by_text("door mirror replaced").click()
    offers = desk.get_by_role("button", name=re.compile("^Promise"))
    expect(offers).to_have_count(3, timeout=40_000)
    desk.get_by_label("Customer").fill("N. Castellan")
    expect(offers).to_have_count(3)
    offers.first.click()
    desk.wait_for_url(re.compile(r"/visits/\d+/"))
    found = re.search(r"RO (\d+)", desk.locator("main").inner_text())
    assert found
    return found.group(1)


def bar_of(page: Page, number: str, kind: str, row: str) -> Locator:
    return page.locator(f"{BARS}.{kind}[data-row^='{row}']").filter(has_text=number).last


def starts(bar: Locator) -> int:
    return int(bar.get_attribute("data-from") or 0)


def minutes_wide(page: Page, minutes: float) -> float:
    """How many pixels some minutes are."""
    chart = page.locator("svg.chart")
    box = page.locator("svg.chart rect.row").first.bounding_box()
    assert box
    return box["width"] * minutes / float(chart.get_attribute("data-minutes") or 1)


def press(page: Page, bar: Locator) -> tuple[float, float]:
    """Put the mouse down on a bar; where that was."""
    bar.scroll_into_view_if_needed()
    box = bar.locator(".body").bounding_box()
    assert box
    x, y = box["x"] + 8, box["y"] + 10
    page.mouse.move(x, y)
    page.mouse.down()
    return x, y


def held(page: Page, bar: Locator) -> tuple[float, float]:
    """Take a bar with the mouse and wait until the open places are lit."""
    x, y = press(page, bar)
    page.mouse.move(x + 12, y, steps=3)
    expect(page.locator(".where .start").first).to_be_attached()
    return x, y


def test_a_step_is_moved_by_hand_and_by_keys_and_everybody_sees_it(
    house: House, browser_for: OpenBrowser
) -> None:
    desk = browser_for(DESK)
    faults: list[str] = []
    desk.on("pageerror", lambda error: faults.append(str(error)))
    first = booked(desk, house, "SB200311")
    second = booked(desk, house, "SB200312")
    desk.goto(f"{house.address}/")
    if bar_of(desk, second, "calibration", "zone").count() == 0:  # late in the day: tomorrow
        desk.get_by_role("link", name="▸").click()
    address = desk.url
    board = browser_for(MANAGER)
    board.goto(address)
    expect(board.locator("[data-live-state]")).to_contain_text("live")

    refused_in_words(desk, first, second)
    moved_by_mouse(desk, board, second)
    taken_back(desk, board, second)
    moved_by_keys(desk, second)
    kept(desk, second)
    not_torn_away(desk, board, second, first)
    assert [fault for fault in faults if "409" not in fault] == []


def refused_in_words(desk: Page, first: str, second: str) -> None:
    """Dragged onto the other visit: the reason names it, and nothing moves."""
    bar, taken = (bar_of(desk, one, "calibration", "zone") for one in (second, first))
    before = starts(bar)
    x, _ = held(desk, bar)
    there = taken.locator(".body").bounding_box()
    assert there
    apart = minutes_wide(desk, starts(taken) - before)
    desk.mouse.move(x + apart, there["y"] + 10, steps=4)
    tip = desk.locator(".board-tip")
    expect(tip).to_have_class(re.compile("shut"))
    says = tip.inner_text()
    assert re.search(rf"{first}|before|past|comes first", says), says
    shoot(desk, "board-shut")
    desk.mouse.up()
    expect(desk.locator("[data-words]")).to_contain_text("It stays where it was.")
    assert starts(bar_of(desk, second, "calibration", "zone")) == before


def moved_by_mouse(desk: Page, board: Page, number: str) -> None:
    """The post-scan 10 minutes later, in the technician's row; another screen follows."""
    bar = bar_of(desk, number, "scan", "person")
    before, row = starts(bar), bar.get_attribute("data-row")
    x, y = held(desk, bar)
    desk.mouse.move(x + minutes_wide(desk, 10), y, steps=4)
    expect(desk.locator(".ghost")).to_be_attached()
    shoot(desk, "board-held")
    desk.mouse.up()
    accepted(desk)
    expect(desk.locator("[data-words]")).to_contain_text("Moved.")
    moved = desk.locator(f"{BARS}[data-row='{row}'][data-from='{before + 10}']")
    expect(moved).to_have_count(1)
    expect(board.locator(f"{BARS}[data-row='{row}'][data-from='{before + 10}']")).to_have_count(1)
    assert "/visits/" not in desk.url  # the link under the bar was not followed


def accepted(page: Page) -> None:
    """A promise that is passed is asked about first."""
    page.wait_for_timeout(400)
    asks = page.locator("dialog[open]")
    if asks.count():
        shoot(page, "board-asks")
        asks.locator("button.primary").click()


def taken_back(desk: Page, board: Page, number: str) -> None:
    bar = bar_of(desk, number, "scan", "person")
    before = starts(bar)
    expect(desk.locator("[data-undo]")).to_contain_text(number)
    desk.keyboard.press("Control+z")
    expect(desk.locator("[data-words]")).to_contain_text("Taken back.")
    expect(desk.locator(f"{BARS}.scan[data-from='{before - 10}']").first).to_be_attached()
    expect(board.locator(f"{BARS}.scan[data-from='{before - 10}']").first).to_be_attached()
    expect(desk.locator("[data-undo]")).to_have_count(0)
    desk.keyboard.press("Control+z")
    expect(desk.locator("[data-words]")).to_contain_text("nothing that could be taken back")


def moved_by_keys(desk: Page, number: str) -> None:
    """Taken with M, to the next open place with an arrow, let go with Escape, put down by Enter."""
    bar = bar_of(desk, number, "scan", "person")
    before = starts(bar)
    words = desk.locator("[data-words]")
    bar.focus()
    desk.keyboard.press("m")
    expect(words).to_contain_text("is in your hand")
    desk.keyboard.press("ArrowRight")
    expect(words).to_contain_text(re.compile(r"\d\d:\d\d to \d\d:\d\d"))
    desk.keyboard.press("Escape")
    expect(words).to_contain_text("It stays where it was.")
    assert starts(bar_of(desk, number, "scan", "person")) == before
    bar_of(desk, number, "scan", "person").focus()
    desk.keyboard.press("m")
    expect(words).to_contain_text("is in your hand")
    desk.keyboard.press("ArrowRight")
    desk.keyboard.press("Enter")
    accepted(desk)
    expect(words).to_contain_text("Moved.")
    expect(desk.locator(f"{BARS}.scan[data-from='{before + 5}']").first).to_be_attached()
    focused = desk.evaluate("document.activeElement?.dataset?.from")
    assert focused == str(before + 5)  # the hand stays on the step it moved


def kept(desk: Page, number: str) -> None:
    bar_of(desk, number, "scan", "person").focus()
    desk.locator("[data-keep]").check()
    expect(desk.locator("[data-words]")).to_contain_text("is kept there")
    expect(desk.locator("a.bar[data-pinned] .pin").first).to_be_attached()
    bar_of(desk, number, "scan", "person").focus()
    desk.keyboard.press("p")
    expect(desk.locator("[data-words]")).to_contain_text("may be moved by a new plan")
    expect(desk.locator("a.bar[data-pinned]")).to_have_count(0)


def not_torn_away(desk: Page, board: Page, number: str, other: str) -> None:
    """Somebody else's change comes while a step is held: the board is exchanged afterwards."""
    bar = bar_of(desk, number, "calibration", "zone")
    held(desk, bar)
    desk.evaluate("document.querySelector('svg.chart').dataset.mine = 'yes'")
    expect(board.locator("a.bar[data-pinned]")).to_have_count(0)
    board.wait_for_timeout(500)  # its own board has followed what was done before
    theirs = bar_of(board, other, "scan", "person")
    theirs.focus()
    board.keyboard.press("p")
    expect(board.locator("[data-words]")).to_contain_text("is kept there")
    desk.wait_for_timeout(1000)
    assert desk.locator("svg.chart").get_attribute("data-mine") == "yes"
    expect(desk.locator(".ghost")).to_be_attached()
    desk.keyboard.press("Escape")
    desk.mouse.up()
    expect(desk.locator("a.bar[data-pinned]").first).to_be_attached()
    assert desk.locator("svg.chart").get_attribute("data-mine") is None

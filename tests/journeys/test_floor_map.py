"""The floor map in a browser: any minute by the slider, a vehicle placed, paper to scale."""

from __future__ import annotations

import io
import re
import time
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from tests.journeys.conftest import SHOTS, House, OpenBrowser, open_house, shoot

pytestmark = [pytest.mark.browser, pytest.mark.slow]

DESK, MANAGER = "desk@fennhollow.example", "manager@fennhollow.example"
MM_PER_POINT = 25.4 / 72
SEDAN = "vehicle=kind-heron-sedan&procedure=rear_corner_radar&x=21600&y=7500&heading=270"


@pytest.fixture(scope="module")
def house(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[House]:
    """One for all of them: looking changes nothing."""
    with open_house(request, tmp_path_factory.mktemp("house")) as made:
        yield made


def test_slider_shows_any_minute_by_keyboard(house: House, browser_for: OpenBrowser) -> None:
    desk = browser_for(DESK)
    desk.goto(f"{house.address}/floor/?on=2027-03-02&at=10:00")  # a Tuesday, open 8 to 18
    title = desk.get_by_role("heading", level=1)
    slider = desk.get_by_role("slider")
    expect(slider).to_be_visible()
    slider.focus()
    desk.keyboard.press("ArrowRight")
    expect(title).to_contain_text("10:05")
    desk.keyboard.press("PageUp")
    expect(title).to_contain_text("11:05")
    expect(slider).to_have_attribute("aria-valuetext", "11:05")
    assert "at=11%3A05" in desk.url
    desk.keyboard.press("Home")
    expect(title).to_contain_text("08:00")
    desk.keyboard.press("End")
    expect(title).to_contain_text("18:00")
    shoot(desk, "floor-slider")
    desk.get_by_role("link", name="Now").click()
    expect(title).to_contain_text("today")


def test_vehicle_is_dragged_turned_and_put_back_where_it_fits(
    house: House, browser_for: OpenBrowser
) -> None:
    desk = browser_for(DESK, width=1440)
    faults: list[str] = []
    desk.on("pageerror", lambda error: faults.append(str(error)))
    desk.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
    desk.goto(f"{house.address}/floor/place/?{SEDAN}&on=2027-03-02&at=10:00")
    verdict = desk.locator("#place-verdict")
    expect(verdict).to_contain_text("It fits here")
    shoot(desk, "place-it-fits")

    drag(desk, "[data-placed] .body", by=(0, 120))
    expect(verdict).to_contain_text("does not fit")
    expect(verdict).to_contain_text("in front, against the wall")
    expect(desk.locator(".dimension.short text").first).to_contain_text("short")
    shoot(desk, "place-it-short")

    box = desk.get_by_label("x, from the left")
    before = mm(box.input_value())
    desk.locator("#place-stage").focus()
    desk.keyboard.press("ArrowLeft")
    expect(box).to_have_value(f"{before - 50:.0f} mm")
    desk.keyboard.press("Shift+ArrowLeft")
    expect(box).to_have_value(f"{before - 60:.0f} mm")
    desk.keyboard.press("[")
    expect(desk.get_by_label("Heading, degrees")).to_have_value("275")
    desk.keyboard.press("Shift+BracketRight")
    expect(desk.get_by_label("Heading, degrees")).to_have_value("274")
    for _ in range(8):
        desk.keyboard.press("Control+ArrowUp")  # half a metre each: its nose back on the map
    expect(desk.locator("#place-stage")).to_have_attribute("aria-busy", "false")
    drag(desk, "[data-turn] .ring", by=(160, -40))
    expect(desk.get_by_label("Heading, degrees")).not_to_have_value("274")

    desk.get_by_role("button", name="Roomiest place").click()
    expect(verdict).to_contain_text("It fits here", timeout=30_000)
    desk.reload()  # the address keeps where it stands
    expect(verdict).to_contain_text("It fits here")
    assert faults == []


def test_answers_keep_up_with_the_hand_and_the_last_one_stands(
    house: House, browser_for: OpenBrowser
) -> None:
    desk = browser_for(DESK, width=1440)
    desk.goto(f"{house.address}/floor/place/?{SEDAN}&on=2027-03-02&at=10:00")
    expect(desk.locator("#place-verdict")).to_contain_text("It fits here")
    took: list[float] = []
    asked: dict[str, float] = {}
    desk.on("request", lambda r: asked.update({r.url: time.monotonic()}))
    desk.on(
        "response", lambda r: took.append(time.monotonic() - asked.get(r.url, time.monotonic()))
    )
    stage = desk.locator("#place-stage")
    stage.focus()
    for _ in range(40):
        desk.keyboard.press("ArrowRight")
        desk.wait_for_timeout(15)
    expect(desk.get_by_label("x, from the left")).to_have_value("23600 mm")
    expect(stage).to_have_attribute("aria-busy", "false")
    assert float(desk.locator("#place-map").get_attribute("data-x") or 0) == 23_600
    print(f"\n{len(took)} answers for 40 moves, the slowest {max(took):.3f} s")
    assert len(took) < 40  # fewer questions than moves: they wait for each other


def test_printed_sheets_are_to_the_scale_they_state(house: House, browser_for: OpenBrowser) -> None:
    """The 10 m of the scale bar and the 40 m of the wall, measured on the printed pages."""
    manager = browser_for(MANAGER)
    SHOTS.mkdir(exist_ok=True)
    for paper, ratio, wide_mm, high_mm in (("a4", 150, 297, 210), ("a3", 100, 420, 297)):
        manager.goto(f"{house.address}/floor/print/?paper={paper}&on=2027-03-02&at=10:00")
        content = manager.pdf(prefer_css_page_size=True, print_background=True)
        (SHOTS / f"floor-{paper}.pdf").write_bytes(content)
        pages = PdfReader(io.BytesIO(content)).pages
        assert len(pages) == 1
        sheet = pages[0]
        assert float(sheet.mediabox.width) * MM_PER_POINT == pytest.approx(wide_mm, abs=0.5)
        assert float(sheet.mediabox.height) * MM_PER_POINT == pytest.approx(high_mm, abs=0.5)
        assert f"1:{ratio}" in sheet.extract_text()
        lengths = level_lines_mm(sheet)
        for metres in (10, 40):
            wanted = metres * 1000 / ratio
            nearest = min(lengths, key=lambda length: abs(length - wanted))
            print(f"\n{metres} m on {paper}: {nearest:.2f} mm, wanted {wanted:.2f} mm")
            assert nearest == pytest.approx(wanted, abs=0.5)


def level_lines_mm(sheet: object) -> list[float]:
    """Lengths on paper of all level strokes of a page, through every change of its coordinates."""
    lengths: list[float] = []
    here: list[tuple[float, float]] = []

    def seen(operator: bytes, operands: list, cm: list[float], _tm: list[float]) -> None:
        if operator == b"re":
            lengths.append(abs(float(operands[2]) * cm[0]) * MM_PER_POINT)
        x, y = (float(operands[0]), float(operands[1])) if operator in (b"m", b"l") else (0, 0)
        if operator == b"m":
            here[:] = [(x, y)]
        elif operator == b"l" and here:
            ax, ay = here[-1]
            dx = (x - ax) * cm[0] + (y - ay) * cm[2]
            dy = (x - ax) * cm[1] + (y - ay) * cm[3]
            if abs(dy) < 0.01:
                lengths.append(abs(dx) * MM_PER_POINT)
            here.append((x, y))

    sheet.extract_text(visitor_operand_before=seen)  # type: ignore[attr-defined]
    return lengths


def drag(page: Page, what: str, *, by: tuple[int, int]) -> None:
    box = page.locator(what).bounding_box()
    assert box
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + by[0], y + by[1], steps=12)
    page.mouse.up()


def mm(text: str) -> float:
    found = re.fullmatch(r"(\d+) mm", text)
    assert found, text
    return float(found.group(1))

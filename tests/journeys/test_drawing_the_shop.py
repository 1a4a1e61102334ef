"""A manager draws the shop by mouse, by keys and by typing, and from a file; a second one saves in
between."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.bays.transfer.halls import as_bytes, hall
from tests.journeys.conftest import House, OpenBrowser, shoot

pytestmark = pytest.mark.browser

MANAGER = "manager@fennhollow.example"
GOOD, ONE_FAULT = "No faults: it can be published", "1 fault: not to be published yet"


def place(page: Page, x_mm: float, y_mm: float) -> tuple[float, float]:
    """Where a place on the floor is on the screen."""
    x, y = page.evaluate(
        """([x, y]) => {
            const matrix = document.querySelector("svg.at-work").getScreenCTM();
            const at = new DOMPoint(x, -y).matrixTransform(matrix);
            return [at.x, at.y];
        }""",
        [x_mm, y_mm],
    )
    return x, y


def drag(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.mouse.move(*place(page, *start))
    page.mouse.down()
    page.mouse.move(*place(page, (start[0] + end[0]) / 2, (start[1] + end[1]) / 2), steps=3)
    page.mouse.move(*place(page, *end), steps=3)
    page.mouse.up()


def thing(page: Page, name: str) -> Locator:
    return page.locator(f'svg.at-work .thing[aria-label^="{name}"]')


def tool(page: Page, word: str) -> None:
    page.get_by_role("button", name=word, exact=True).click()


def test_the_shop_is_drawn_by_hand_by_two_people_and_from_a_file(
    house: House, browser_for: OpenBrowser, tmp_path: Path
) -> None:
    first = browser_for(MANAGER, width=1440, height=1000)
    second = browser_for(MANAGER, width=1024, height=768)
    faults: list[str] = []
    for page in (first, second):
        page.on("pageerror", lambda fault: faults.append(str(fault)))
    draw_by_hand(first, house)
    draw_at_once(first, second, house)
    draw_from_a_file(second, house, tmp_path)
    assert not faults


def draw_by_hand(page: Page, house: House) -> None:
    page.goto(f"{house.address}/setup/")
    page.get_by_role("link", name="Draw the floor").click()
    page.get_by_label("Width, left to right").fill("20 m")
    page.get_by_label("Depth, front to back").fill("12 m")
    page.get_by_role("button", name="Begin with a rectangle").click()
    state = page.locator("#part-state")
    expect(state).to_contain_text(GOOD)
    expect(page.locator("svg.at-work")).to_be_visible()

    # By mouse: a bay as a rectangle, held to the grid, and a door along the front wall.
    tool(page, "Bay")
    drag(page, (1030, 4980), (5020, 11010))
    expect(page.get_by_label("Width", exact=True)).to_have_value("4000 mm")
    expect(page.get_by_label("From the left", exact=True)).to_have_value("1000 mm")
    tool(page, "Door")
    drag(page, (7000, 60), (10500, 40))
    expect(page.get_by_label("One end, from the front")).to_have_value("0 mm")
    expect(state).to_contain_text("1 bay, 0 obstacles, 1 door")

    # By keys alone: a column of the usual size, moved, typed, removed.
    tool(page, "Column")
    page.keyboard.press("Enter")
    expect(thing(page, "column C1")).to_be_focused()
    left = page.get_by_label("From the left", exact=True)
    expect(left).to_have_value("9850 mm")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    expect(left).to_have_value("10060 mm")
    page.keyboard.press("Enter")
    expect(left).to_be_focused()
    left.fill("33 ft")
    page.keyboard.press("Enter")
    expect(left).to_have_value("10058 mm")
    page.keyboard.press("Escape")
    expect(thing(page, "column C1")).to_be_focused()
    page.keyboard.press("Control+z")
    expect(left).to_have_value("10060 mm")
    page.keyboard.press("Delete")
    expect(state).to_contain_text("0 obstacles")

    # A bay dragged through the wall: told in words, marked in the picture, taken back.
    drag(page, (3000, 6000), (-500, 6000))
    expect(state).to_contain_text(ONE_FAULT)
    expect(state).to_contain_text("Bay 1 reaches outside the floor")
    expect(page.locator("svg.at-work .fault-mark polygon")).to_have_count(1)
    shoot(page, "drawing-a-fault")
    page.get_by_role("button", name="Undo").click()
    expect(state).to_contain_text(GOOD)
    expect(page.locator("svg.at-work .fault-mark")).to_have_count(0)

    page.get_by_role("button", name="Publish").click()
    expect(page.locator("main")).to_contain_text("of the floor plan is in force")
    shoot(page, "published-plan")


def draw_at_once(first: Page, second: Page, house: House) -> None:
    """Who saves second is told, and takes the other's drawing or insists."""
    first.goto(f"{house.address}/setup/floor/begin/")
    first.get_by_label("Width, left to right").fill("20 m")
    first.get_by_label("Depth, front to back").fill("12 m")
    first.get_by_role("button", name="Begin with a rectangle").click()
    second.goto(f"{house.address}/setup/floor/")
    for page, kind in ((first, "Column"), (second, "Rack")):
        expect(page.locator("svg.at-work")).to_be_visible()
        tool(page, kind)
        page.keyboard.press("Enter")
    expect(first.locator("#part-list")).to_contain_text("Column C1")
    refusal = second.locator("#draw-refusal")
    expect(refusal).to_contain_text("saved this drawing meanwhile")
    refusal.get_by_role("button", name="Take theirs").click()
    expect(second.locator("#part-list")).to_contain_text("Column C1")
    # and the other way round: mine instead of theirs
    thing(second, "column C1").focus()
    second.keyboard.press("Delete")
    expect(second.locator("#part-list")).not_to_contain_text("Column C1")
    thing(first, "column C1").focus()
    first.keyboard.press("ArrowUp")
    expect(first.locator("#draw-refusal")).to_contain_text("saved this drawing meanwhile")
    first.get_by_role("button", name="Keep mine instead").click()
    expect(first.locator("#draw-refusal")).to_be_empty()
    second.reload()
    expect(second.locator("#part-list")).to_contain_text("Column C1")
    second.get_by_role("button", name="Discard", exact=True).click()
    second.get_by_role("dialog").get_by_role("button", name="Discard").click()
    second.wait_for_url("**/setup/")


def draw_from_a_file(page: Page, house: House, tmp_path: Path) -> None:
    file = tmp_path / "hall.dxf"
    file.write_bytes(as_bytes(hall()))
    page.goto(f"{house.address}/setup/floor/begin/")
    page.get_by_label("DXF file", exact=True).set_input_files(file)
    page.get_by_role("button", name="Read the DXF file").click()
    expect(page.get_by_label("Layer Walls means")).to_have_value("outline")
    shoot(page, "layers-of-a-file")
    page.get_by_role("button", name="Make the drawing").click()
    expect(page.locator("#part-state")).to_contain_text(GOOD)
    expect(thing(page, "Glass bay")).to_be_visible()
    shoot(page, "drawing-from-a-file")

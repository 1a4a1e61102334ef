"""Pages hinder nobody: axe-core finds nothing serious, light and dark, wide and narrow.

axe-core (Deque Systems) judges by the Web Content Accessibility Guidelines; what it cannot judge
by itself, such as whether words make sense, is not covered.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.journeys.conftest import House, OpenBrowser, open_house

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PLACED = "vehicle=kind-heron-sedan&procedure=rear_corner_radar&x=21600&y=7500&heading=270"
PAGES = {
    "desk": ["/", "/book/", "/floor/", f"/floor/place/?{PLACED}", "/floor/print/"],
    "osei": ["/work/", "/equipment/"],
    "manager": [
        *("/figures/", "/setup/", "/setup/floor/begin/", "/setup/webhooks/"),
        *("/setup/surveys/", "/setup/surveys/floor/1/", "/setup/surveys/light/new/"),
    ],
}


@pytest.fixture(scope="module")
def house(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[House]:
    """One for all of them: looking changes nothing."""
    with open_house(request, tmp_path_factory.mktemp("house")) as made:
        yield made


@pytest.mark.parametrize("who", list(PAGES))
def test_nothing_hinders_a_person_on_the_pages_of_their_work(
    house: House, browser_for: OpenBrowser, who: str
) -> None:
    page = browser_for(f"{who}@fennhollow.example")
    axe, found = Axe(), []
    for address in PAGES[who]:
        answer = page.goto(f"{house.address}{address}")
        assert answer is not None
        assert answer.status == 200, address
        expect(page.get_by_text("Looking at every bay")).to_have_count(0)
        for scheme, width in (("light", 1320), ("dark", 768)):
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            page.set_viewport_size({"width": width, "height": 900})
            found += [
                f"{address} {scheme} {width}: {fault['id']} at {fault['nodes'][0]['target']}"
                for fault in axe.run(page).response["violations"]
                if fault["impact"] in {"serious", "critical"}
            ]
    assert found == []


def test_a_page_that_does_hinder_is_caught(house: House, browser_for: OpenBrowser) -> None:
    page = browser_for("desk@fennhollow.example")
    page.evaluate("document.querySelector('main').innerHTML += '<input><img src=\"/\">'")
    found = {fault["id"] for fault in Axe().run(page).response["violations"]}
    assert {"label", "image-alt"} <= found

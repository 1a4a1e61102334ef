"""The floor on paper, to a stated scale."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bays.selectors.floor import current_floor
from jobs.drawing import draw_floor_map
from jobs.drawing.floor_paper import PAPERS_MM, fitting_sheet
from jobs.pages.floor_clock import FloorClock
from jobs.pages.floor_map import floor_lines, measure_asked
from jobs.pages.floor_picture import MEASURES, Scene, floor_picture
from jobs.pages.moments import ShopWords
from jobs.selectors.floor_now import floor_now
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest

PAPER_WORDS = {"a4": "A4", "a3": "A3", "letter": "Letter", "tabloid": "Tabloid"}


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def floor_print(request: MemberRequest) -> HttpResponse:
    """One sheet with the map and its title block; what stands where on a second one."""
    shop = request.membership.shop
    words = ShopWords.of(shop)
    clock = FloorClock.read(request.GET, shop.pk, words)
    scene = Scene(current_floor(shop.pk), floor_now(shop.pk, clock.at), words, clock.at)
    picture = floor_picture(scene, measure=measure_asked(request))
    paper = request.GET.get("paper", "")
    sheet = fitting_sheet(picture.outline, paper if paper in PAPERS_MM else "a4")
    return render(
        request,
        "jobs/floor_print.html",
        {
            "sheet": sheet,
            "paper_word": PAPER_WORDS[sheet.paper],
            "papers": PAPER_WORDS.items(),
            "measure": measure_asked(request),
            "measures": MEASURES.items(),
            "map": draw_floor_map(replace(picture, ratio=sheet.ratio)),
            "states": {zone.state for zone in picture.zones},
            "clock": clock,
            "at_clock": words.clock(clock.at),
            "on": _in_full(clock.at, words),
            "now": _in_full(words.now, words),
            "edition": scene.current.edition,
            "lines": floor_lines(scene, clock),
            "closed": [(one, words.moment(one.ends_at)) for one in scene.found.closed],
        },
    )


def _in_full(moment: datetime, words: ShopWords) -> str:
    """``Tue 3 Mar 2026, 14:30``: paper is read on other days."""
    local = moment.astimezone(words.zone)
    return f"{local:%a} {local.day} {local:%b %Y}, {local:%H:%M}"

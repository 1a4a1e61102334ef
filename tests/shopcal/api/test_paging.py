"""Pages that stay in place, filters that must exist, and times in UTC."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import chain

import pytest
from django.core.cache import cache
from django.test import RequestFactory
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rest_framework.request import Request

from shopcal.accounts.models import Role, User
from shopcal.api.paging import CursorPages, Edge
from tests.shopcal.api.refusal import problem_in
from tests.shopcal.api.rows import Members

ADDRESS = "/api/v1/members/"


@pytest.fixture
def members(join_shop, shop, manager):
    """Eleven technicians, all equal in the field the list is ordered by, and one manager."""
    return [join_shop(shop, Role.TECHNICIAN, f"Person {n}") for n in range(11)]


def flat(pages) -> list[int]:
    return list(chain.from_iterable(pages))


def walk(caller, address: str, link: str = "next") -> list[list[int]]:
    pages = []
    while address:
        page = caller.get(address).json()
        pages.append([row["id"] for row in page["results"]])
        address = page[link]
    return pages


def test_pages_hold_every_row_once_in_order(as_manager, manager, members):
    pages = walk(as_manager, f"{ADDRESS}?page_size=4")
    assert [len(page) for page in pages] == [4, 4, 4]
    assert flat(pages) == [
        manager.membership.pk,
        *sorted(member.membership.pk for member in members),
    ]


def test_previous_leads_back_over_the_same_pages(as_manager, members):
    there = walk(as_manager, f"{ADDRESS}?page_size=5")
    address = f"{ADDRESS}?page_size=5"
    while following := as_manager.get(address).json()["next"]:
        address = following
    back = walk(as_manager, address, "previous")
    assert flat(reversed(back)) == flat(there)


def test_rows_added_meanwhile_do_not_shift_the_pages(as_manager, members, join_shop, shop):
    first = as_manager.get(f"{ADDRESS}?page_size=5").json()
    join_shop(shop, Role.MANAGER, "Newly Come")  # sorts before everything that follows
    following = as_manager.get(first["next"]).json()
    seen = [row["id"] for row in first["results"] + following["results"]]
    assert len(seen) == len(set(seen))


@pytest.mark.parametrize(("asked", "given"), [("200", 200), ("201", 200), ("100000", 200)])
def test_page_has_at_most_200_rows(asked, given):
    pages = CursorPages()
    pages.page_size = None
    request = Request(RequestFactory().get("/", {"page_size": asked}))
    assert pages.get_page_size(request) == given


@pytest.mark.parametrize("size", ["0", "-1", "many", "", "9" * 5000, "٣"])
def test_page_size_that_is_none_is_refused(as_manager, size):
    response = as_manager.get(ADDRESS, {"page_size": size})
    assert problem_in(response, 422, "invalid")["errors"][0]["path"] == "page_size"


@pytest.mark.parametrize(
    "cursor",
    [
        "elsewhere",
        "ä",
        "",
        Edge(("manager",), back=False).text(),  # of an order with one field
        Edge(("manager", "many"), back=False).text(),  # an identifier is a number
        Edge(("man\x00ager", 1), back=True).text(),
        "W251bGwsMSwxXQ",  # [null,1,1]
        "e30",  # {}
    ],
)
def test_cursor_that_was_not_given_out_is_refused(as_manager, cursor):
    response = as_manager.get(ADDRESS, {"cursor": cursor})
    assert problem_in(response, 422, "invalid")["errors"][0]["path"] == "cursor"


def test_order_always_ends_in_the_identifier():
    class View:
        ordering = ("-joined_at",)

    request = RequestFactory().get("/")
    assert CursorPages().get_ordering(request, None, View()) == ("-joined_at", "-id")
    assert CursorPages().get_ordering(request, None, None) == ("-id",)


def test_filter_narrows_the_list(as_manager, members, manager):
    rows = as_manager.get(ADDRESS, {"role": "manager"}).json()["results"]
    assert [row["id"] for row in rows] == [manager.membership.pk]


def test_value_that_a_filter_does_not_know_is_refused(as_manager):
    response = as_manager.get(ADDRESS, {"role": "pilot"})
    assert problem_in(response, 422, "invalid")["errors"][0]["path"] == "role"


def test_misspelt_filter_is_refused_and_told_the_right_names(as_manager):
    problem = problem_in(as_manager.get(ADDRESS, {"rolle": "manager"}), 422, "invalid")
    assert problem["errors"][0] == {
        "path": "rolle",
        "says": "There is no such filter.",
        "right": "one of cursor, page_size, role",
    }


def test_times_are_utc_whatever_clock_is_active(as_manager, manager):
    User.objects.update(joined_at=datetime(2026, 7, 1, 12, 30, tzinfo=UTC))
    with timezone.override("America/Chicago"):
        row = as_manager.get(f"{ADDRESS}{manager.membership.pk}/").json()
    assert row["joined_at"] == "2026-07-01T12:30:00Z"


def test_order_by_time_pages_over_equal_times(as_manager, members, monkeypatch):
    monkeypatch.setattr(Members, "ordering", ("-user__joined_at", "role"))
    User.objects.update(joined_at=datetime(2026, 7, 1, 12, 30, tzinfo=UTC))
    User.objects.filter(name="Person 3").update(
        joined_at=datetime(2026, 7, 1, 12, 30, 0, 1, tzinfo=UTC)
    )
    there = walk(as_manager, f"{ADDRESS}?page_size=5")
    assert [len(page) for page in there] == [5, 5, 2]
    assert len(set(flat(there))) == 12
    assert there[0][0] == members[3].membership.pk


def test_page_whose_rows_are_gone_leads_to_the_beginning(as_manager, members):
    first = as_manager.get(f"{ADDRESS}?page_size=5").json()
    for member in members:
        member.membership.delete()
    empty = as_manager.get(first["next"]).json()
    assert empty["results"] == []
    assert len(as_manager.get(empty["previous"]).json()["results"]) == 1


@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(size=st.integers(1, 13))
def test_pages_of_any_size_are_the_whole_list_there_and_back(as_manager, members, size):
    cache.clear()
    pages = walk(as_manager, f"{ADDRESS}?page_size={size}")
    assert flat(pages) == sorted(flat(pages))
    assert len(flat(pages)) == 12
    address = f"{ADDRESS}?page_size={size}"
    while following := as_manager.get(address).json()["next"]:
        address = following
    assert flat(reversed(walk(as_manager, address, "previous"))) == flat(pages)

"""Entity tags and preconditions: RFC 9110 (sections 8.8.3 and 13), RFC 6585 (428)."""

from __future__ import annotations

import pytest
from django.test import RequestFactory

from shopcal.accounts.models import Shop
from shopcal.api.etags import check_if_match, etag_for, is_unchanged, strong_tags
from shopcal.api.idempotency import idempotent
from shopcal.api.versions import versioned
from shopcal.errors import Refusal, Stale
from tests.shopcal.api.refusal import problem_in
from tests.shopcal.api.rows import Shops

NEW = {"name": "Fennhollow North"}


def asking(**headers: str):
    return RequestFactory().get("/", headers=headers)


def change(caller, shop: Shop, **headers: str):
    return caller.patch(
        f"/api/v1/shops/{shop.pk}/", NEW, content_type="application/json", headers=headers
    )


def act(caller, address: str, **headers: str):
    return caller.post(address, content_type="application/json", headers=headers)


# The comparisons of RFC 9110, section 8.8.3.2, written with version tags:
#   W/"1" W/"1": weak match only; W/"1" W/"2": none; W/"1" "1": weak match only; "1" "1": both.
@pytest.mark.parametrize(
    ("header", "tag", "strong", "weak"),
    [
        ('W/"v1"', '"v1"', False, True),
        ('W/"v1"', '"v2"', False, False),
        ('"v1"', '"v1"', True, True),
        ('"v1"', '"v2"', False, False),
        ('"v3", W/"v1", "v2"', '"v2"', True, True),
        ('"a,b", "v1"', '"v1"', True, True),  # a comma inside a tag does not separate
        ("v1", '"v1"', False, False),  # a tag has quotes
    ],
)
def test_tags_compare_as_the_standard_has_it(header, tag, strong, weak):
    assert (tag in strong_tags(header)) is strong
    assert is_unchanged(asking(**{"If-None-Match": header}), tag) is weak


def test_star_stands_for_whatever_is_there():
    assert check_if_match(asking(**{"If-Match": "*"}), 7) == 7
    assert is_unchanged(asking(**{"If-None-Match": "*"}), etag_for(7))


def test_change_without_a_version_is_refused():
    with pytest.raises(Refusal) as refused:
        check_if_match(asking(), 7)
    assert (refused.value.status, refused.value.code) == (428, "version_needed")


def test_weak_tag_is_not_enough_for_a_change():
    with pytest.raises(Stale):
        check_if_match(asking(**{"If-Match": 'W/"v7"'}), 7)


def test_reading_gives_the_tag_and_asking_again_gives_304(as_technician, shop):
    address = f"/api/v1/shops/{shop.pk}/"
    first = as_technician.get(address)
    assert first["ETag"] == '"v1"'
    again = as_technician.get(address, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again["ETag"], again.content) == (304, '"v1"', b"")
    Shop.objects.update(version=2)
    assert as_technician.get(address, headers={"If-None-Match": first["ETag"]}).status_code == 200


def test_change_with_the_current_version_is_made_and_gives_the_next(as_manager, shop):
    response = change(as_manager, shop, **{"If-Match": '"v1"'})
    assert (response.status_code, response["ETag"]) == (200, '"v2"')
    assert response.json() == {"id": shop.pk, "name": "Fennhollow North", "version": 2}


def test_change_without_if_match_changes_nothing(as_manager, shop):
    problem_in(change(as_manager, shop), 428, "version_needed")
    shop.refresh_from_db()
    assert (shop.name, shop.version) == ("Fennhollow Sensor Works", 1)


def test_change_of_an_old_version_says_what_is_there_now(as_manager, shop):
    assert change(as_manager, shop, **{"If-Match": '"v1"'}).status_code == 200
    problem = problem_in(change(as_manager, shop, **{"If-Match": '"v1"'}), 412, "changed_meanwhile")
    assert problem["facts"]["current"] == {
        "version": 2,
        "etag": '"v2"',
        "id": shop.pk,
        "says": "Fennhollow North",
    }
    shop.refresh_from_db()
    assert shop.version == 2


def test_act_on_a_versioned_row_needs_its_version(as_manager, shop):
    address = f"/api/v1/shops/{shop.pk}/shout/"
    problem_in(act(as_manager, address), 428, "version_needed")
    assert act(as_manager, address, **{"If-Match": '"v1"'}).json()["version"] == 2
    problem_in(act(as_manager, address, **{"If-Match": '"v1"'}), 412, "changed_meanwhile")


def test_act_that_is_sent_again_is_answered_and_not_refused_as_stale(as_manager, shop):
    headers = {"If-Match": '"v1"', "Idempotency-Key": "once"}
    address = f"/api/v1/shops/{shop.pk}/shout/"
    first = act(as_manager, address, **headers)
    again = act(as_manager, address, **headers)
    assert (again.status_code, again.json(), again["ETag"]) == (200, first.json(), '"v2"')
    assert again["Idempotency-Replayed"] == "true"
    shop.refresh_from_db()
    assert shop.version == 2


def test_decorators_in_the_wrong_order_are_refused_at_import():
    with pytest.raises(TypeError, match="above"):
        versioned(idempotent(Shops.shout))

"""Who may do what, row by row against a table written out by hand."""

import pytest

from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.permissions import ALLOWED, Action, in_words, may, require
from shopcal.errors import NotAllowed

# action: service writer, technician, manager
TABLE = """
see_day_board        yes yes yes
see_visit            yes yes yes
book_visit           yes no  yes
change_visit         yes no  yes
cancel_visit         yes no  yes
check_in             yes yes yes
release_visit        yes no  yes
record_scan          yes yes yes
answer_precondition  no  yes yes
record_reading       no  yes yes
use_equipment        no  yes yes
run_calibration      no  yes yes
record_outcome       no  yes yes
sign_off             no  yes yes
override_guard       no  no  yes
replan               yes no  yes
pin_step             yes no  yes
edit_floor_plan      no  no  yes
edit_equipment       no  no  yes
edit_people          no  no  yes
edit_hours           no  no  yes
publish_procedure    no  no  yes
record_upkeep        no  yes yes
take_unit_out        yes yes yes
see_figures          no  no  yes
issue_record         yes no  yes
see_record           yes yes yes
manage_own_tokens    yes yes yes
manage_members       no  no  yes
manage_webhooks      no  no  yes
import_export        no  no  yes
edit_shop            no  no  yes
"""
ROLES = (Role.SERVICE_WRITER, Role.TECHNICIAN, Role.MANAGER)
ROWS = [
    (row.split()[0], role, answer == "yes")
    for row in TABLE.strip().splitlines()
    for role, answer in zip(ROLES, row.split()[1:], strict=True)
]


@pytest.mark.parametrize(("code", "role", "allowed"), ROWS)
def test_role_may_do_exactly_what_the_table_says(code: str, role: Role, allowed: bool) -> None:
    by = Actor(shop_id=1, role=role, name="Any")
    assert may(by, Action(code)) is allowed
    if allowed:
        require(by, Action(code))
        return
    with pytest.raises(NotAllowed) as refused:
        require(by, Action(code))
    assert refused.value.status == 403
    assert refused.value.code == "not_allowed"
    assert refused.value.facts["action"] == code


def test_the_table_covers_every_action_and_every_role() -> None:
    assert {code for code, _, _ in ROWS} == {action.value for action in Action}
    assert set(ALLOWED) == set(Action)
    assert set(Role) == set(ROLES)


@pytest.mark.parametrize("action", Action)
def test_every_action_can_be_said_in_words(action: Action) -> None:
    assert in_words(action)


@pytest.mark.parametrize("action", Action)
def test_the_service_itself_may_do_everything(action: Action) -> None:
    require(Actor.system(1), action)


def test_refusal_names_whom_to_ask() -> None:
    with pytest.raises(NotAllowed) as refused:
        require(Actor(1, Role.TECHNICIAN, "Tobin"), Action.BOOK_VISIT)
    assert refused.value.title == "A technician may not book a visit."
    assert refused.value.detail == "Ask a manager or a service writer."

"""What upkeep and which surveys of the floor a shop is to be reminded of."""

from __future__ import annotations

from datetime import date

from bays.selectors.equipment import UnitDue, due_list
from bays.selectors.floor import plan_of
from bays.selectors.surveys import SurveyDue, surveys_due
from bays.upkeep import DueState


def upkeep_to_remind(shop_id: int, today: date) -> list[UnitDue]:
    """Rules of units that are overdue or due soon, what is overdue first."""
    return [row for row in due_list(shop_id, today) if row.due.state is not DueState.FIT]


def surveys_to_remind(shop_id: int, today: date) -> list[SurveyDue]:
    """Surveys that some bay relies on and that are overdue or due soon, what is overdue first."""
    return surveys_due(shop_id, plan_of(shop_id), today)

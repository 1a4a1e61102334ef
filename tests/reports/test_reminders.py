"""Upkeep reminders: once a day at seven on the shop's clock, and only with something to say."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core import mail as outgoing

from bays.models import FloorSurvey, UpkeepRule
from reports.services.reminders import owe_reminders
from shopcal.accounts.models import Shop
from shopcal.outbox import drain
from tests.reports.conftest import unit_in

pytestmark = pytest.mark.django_db
SEVEN = datetime(2026, 11, 25, 13, tzinfo=UTC)  # 07:00 in Chicago


@pytest.fixture
def overdue(shop: Shop) -> Shop:
    shop.email = "desk@fennhollow.test"
    shop.save()
    unit = unit_in(shop, "tape-1", "Tape 5 m", "TM-0417")
    UpkeepRule.objects.create(
        shop=shop, equipment_type=unit.type, code="inspect", name="inspection", every_days=90
    )
    return shop


def send_all() -> None:
    while drain():
        pass


def test_the_shop_hears_of_overdue_units_once_a_day(overdue: Shop) -> None:
    for minutes in (0, 5, 600):
        owe_reminders(SEVEN + timedelta(minutes=minutes))
        send_all()
    (sent,) = outgoing.outbox
    assert sent.to == ["desk@fennhollow.test"]
    assert sent.subject == "Upkeep: 1 overdue"
    assert "Tape 5 m (serial TM-0417), inspection:" in sent.body
    owe_reminders(SEVEN + timedelta(days=1))
    send_all()
    assert len(outgoing.outbox) == 2


def test_nobody_is_woken_before_seven(overdue: Shop) -> None:
    owe_reminders(SEVEN - timedelta(seconds=1))
    send_all()
    assert outgoing.outbox == []


def test_a_shop_with_everything_fit_hears_nothing(overdue: Shop) -> None:
    unit_in(overdue, "tape-1", "", "").type.units.update(commissioned_on=date(2026, 11, 20))
    owe_reminders(SEVEN)
    send_all()
    assert outgoing.outbox == []


def test_a_shop_without_an_address_is_left_alone(overdue: Shop) -> None:
    overdue.email = ""
    overdue.save()
    assert owe_reminders(SEVEN) == 0


def read_floor(shop: Shop, due_on: date) -> None:
    FloorSurvey.objects.create(
        shop=shop,
        number=FloorSurvey.objects.for_shop(shop.pk).count() + 1,
        surveyed_on=due_on - timedelta(days=365),
        due_on=due_on,
        instrument="Rotating laser 7",
        points=[[0, 0, 0], [9000, 0, 1], [0, 9000, 1]],
        recorded_by="R. Osei",
    )


def test_a_floor_to_be_read_again_is_in_the_same_mail(overdue: Shop) -> None:
    read_floor(overdue, date(2026, 11, 24))
    owe_reminders(SEVEN)
    send_all()
    (sent,) = outgoing.outbox
    assert sent.subject == "Upkeep: 2 overdue"
    assert "- Floor survey 1, Rotating laser 7: overdue since 25 November" in sent.body
    assert "/setup/surveys/" in sent.body


def test_a_survey_alone_is_reason_enough_for_a_mail(overdue: Shop) -> None:
    unit_in(overdue, "tape-1", "", "").type.units.update(commissioned_on=date(2026, 11, 20))
    read_floor(overdue, date(2026, 12, 5))
    owe_reminders(SEVEN)
    send_all()
    (sent,) = outgoing.outbox
    assert sent.subject == "Upkeep: 1 due soon"
    assert "needs care" not in sent.body
    assert "Floor survey 1, Rotating laser 7: due in 10 days" in sent.body


def test_a_survey_in_date_is_not_mentioned(overdue: Shop) -> None:
    read_floor(overdue, date(2027, 11, 24))
    owe_reminders(SEVEN)
    send_all()
    (sent,) = outgoing.outbox
    assert "Floor survey" not in sent.body

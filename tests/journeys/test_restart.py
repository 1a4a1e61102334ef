"""The server is killed in the middle of a record that is owed; the mail still arrives once."""

from __future__ import annotations

import os
import signal

import pytest

from tests.journeys.conftest import House
from tests.shopcal.machine import wait_until

pytestmark = [pytest.mark.browser, pytest.mark.embedded, pytest.mark.slow]

CUSTOMER_MAIL = "castellan@post.example"

# A visit that is ready, written straight to the tables, and its record issued by the service.
ISSUE = f"""
import os, django
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")
django.setup()
from django.utils import timezone
from jobs.demo.history import add_demo_history
from jobs.demo.people import MANAGER, SLUG, actor_of
from jobs.models import Visit
from reports.services.records import issue_record
from shopcal.accounts.models import Shop
shop = Shop.objects.get(slug=SLUG)
add_demo_history(shop=shop, now=timezone.now())
visit = Visit.objects.filter(shop=shop, state="released").order_by("pk").last()
for _ in range({{times}}):
    issue_record(by=actor_of(shop, MANAGER), visit=visit, mail_to="{CUSTOMER_MAIL}", reason="again")
    visit = Visit.objects.filter(shop=shop, state="released", pk__lt=visit.pk).order_by("pk").last()
"""
TIMES = 12


def test_a_record_owed_when_the_server_is_killed_is_mailed_once(house: House) -> None:
    house.place.run("-c", ISSUE.replace("{times}", str(TIMES)))
    wait_until(lambda: len(house.inbox.to(CUSTOMER_MAIL)) >= 1, seconds=60)
    os.killpg(house.running[-1].pid, signal.SIGKILL)
    house.running[-1].wait(10)
    before = len(house.inbox.to(CUSTOMER_MAIL))
    house.start()
    # A message that was being worked on is taken up again when its lease has run out.
    wait_until(lambda: len(house.inbox.to(CUSTOMER_MAIL)) == TIMES, seconds=150)
    mails = house.inbox.to(CUSTOMER_MAIL)
    assert len({mail["Message-ID"] for mail in mails}) == TIMES
    assert len({mail["Subject"] for mail in mails}) == TIMES
    print(
        f"\n{before} of {TIMES} arrived before the kill; {house.inbox.deliveries} deliveries in all"
    )

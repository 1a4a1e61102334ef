"""Clients that all want the same floor: ``booking_clients.py THREADS ATTEMPTS SEED``.

Every attempt is one line of JSON on standard output, written after the answer came.
"""

from __future__ import annotations

import json
import os
import random
import sys
import threading
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")
django.setup()

from django.db import connection  # noqa: E402

from jobs.intake.vin_form import check_digit  # noqa: E402
from jobs.planning.request import BookingRequest  # noqa: E402
from jobs.services.booking import book_visit  # noqa: E402
from jobs.services.quotes import quote_visit  # noqa: E402
from shopcal.accounts.actor import Actor  # noqa: E402
from shopcal.accounts.models import Membership  # noqa: E402
from shopcal.errors import Refusal  # noqa: E402
from tests.faults.small_shop import SLUG  # noqa: E402

# Most attempts go for offers that may be gone already: that is where bookings collide.
FRESH_OFFERS = 0.02
_speak = threading.Lock()
_offers: list[str] = []  # shared, so that every client goes for the same times


def request_for(seed: int, client: int, number: int) -> BookingRequest:
    serial = f"SB{seed % 10}{client:02d}{number:03d}"
    blank = f"5ZZCP5DF0{serial}"
    return BookingRequest(
        work=("door_mirror_replaced",),
        vin=f"5ZZCP5DF{check_digit(blank)}{serial}",
        ro_number=f"{seed}-{client}-{number}",
        customer_name="Somebody",
    )


def attempt(by: Actor, request: BookingRequest, chance: random.Random) -> dict[str, Any]:
    try:
        if not _offers or chance.random() < FRESH_OFFERS:
            quote = quote_visit(by=by, request=request, count=4)
            _offers[:] = [offer.token for offer in quote.offers]
        token = chance.choice(_offers)
        visit = book_visit(by=by, request=request, offer_token=token)
    except Refusal as refusal:
        return {"refused": refusal.code, "says": str(refusal)}
    return {"booked": visit.pk}


def client(number: int, attempts: int, seed: int) -> None:
    by = Actor.of(Membership.objects.select_related("user").get(shop__slug=SLUG, role="manager"))
    chance = random.Random(f"{seed}-{number}")
    for count in range(attempts):
        try:
            answer = attempt(by, request_for(seed, number, count), chance)
        except Exception as error:
            answer = {"broke": f"{type(error).__name__}: {error}"}
        with _speak:
            sys.stdout.write(json.dumps(answer) + "\n")
            sys.stdout.flush()
    connection.close()


def main() -> None:
    threads, attempts, seed = map(int, sys.argv[1:4])
    clients = [
        threading.Thread(target=client, args=(number, attempts // threads, seed))
        for number in range(threads)
    ]
    for one in clients:
        one.start()
    for one in clients:
        one.join()


if __name__ == "__main__":
    main()

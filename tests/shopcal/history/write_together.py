"""Run by itself: several writers add to one shop's history at once; prints what came of it."""

import os
import threading

import django

WRITERS, EVENTS_EACH = 6, 15


def write(shop_id: int, start: threading.Barrier) -> None:
    from django.db import connection, transaction

    from shopcal.accounts.actor import Actor
    from shopcal.history.record import record_event

    start.wait()
    for number in range(EVENTS_EACH):
        with transaction.atomic():
            record_event(by=Actor.system(shop_id), kind="test.written", subject=f"row:{number}")
    connection.close()


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")
    django.setup()
    from django.core.management import call_command

    from shopcal.accounts.models import Shop
    from shopcal.history.verify import verify_history

    call_command("migrate", verbosity=0)
    shop, _ = Shop.objects.get_or_create(slug="crowded", defaults={"name": "Crowded"})
    before = verify_history(shop.pk).events
    start = threading.Barrier(WRITERS)
    threads = [threading.Thread(target=write, args=(shop.pk, start)) for _ in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    verdict = verify_history(shop.pk)
    print(verdict.events - before, len(verdict.faults))


if __name__ == "__main__":
    main()

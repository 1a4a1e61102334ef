"""Records one event per line of its input ("shop kind subject"); writes when it was committed."""

from __future__ import annotations

import os
import sys
import time

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")
django.setup()

from django.db import transaction  # noqa: E402

from shopcal.accounts.actor import Actor  # noqa: E402
from shopcal.accounts.models import Shop  # noqa: E402
from shopcal.history.record import record_event  # noqa: E402

if __name__ == "__main__":
    for name in ("Fennhollow Sensor Works", "Oxbridge Glass & Sensor"):
        Shop.objects.create(slug=name.split()[0].lower(), name=name)
    print("ready", flush=True)
    for line in sys.stdin:
        shop_id, kind, subject = line.split()
        with transaction.atomic():
            record_event(by=Actor.system(int(shop_id)), kind=kind, subject=subject)
        print(time.time(), flush=True)

"""``manage.py verify_history``: is every shop's history as it was written?"""

from __future__ import annotations

import re
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shopcal.accounts.models import Shop
from shopcal.history.verify import Head, verify_history

_HEAD = re.compile(r"([1-9][0-9]*):([0-9a-f]{64})")


class Command(BaseCommand):
    help = (
        "Recompute the chain of every shop's history and say whether anything was changed or"
        " removed. Keep the printed head elsewhere and give it back with --kept: only so can it"
        " be proved that the last events were not cut off and the chain was not rebuilt."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--shop", help="only this shop, by its short name")
        parser.add_argument("--kept", help="a head printed earlier, with --shop: 128:3fa9…")

    def handle(self, *args: Any, **options: Any) -> None:
        kept = _head(options["kept"]) if options["kept"] else None
        if kept and not options["shop"]:
            raise CommandError("Name the shop the kept head belongs to with --shop.")
        shops = list(Shop.objects.order_by("slug"))
        if options["shop"]:
            shops = [shop for shop in shops if shop.slug == options["shop"]]
            if not shops:
                raise CommandError(f"There is no shop “{options['shop']}”.")
        faulty = [shop.slug for shop in shops if not self._verify(shop, kept)]
        if faulty:
            raise CommandError(f"History is not as it was written: {', '.join(faulty)}.")

    def _verify(self, shop: Shop, kept: Head | None) -> bool:
        verdict = verify_history(shop.pk, kept=kept)
        word = "not as written" if verdict.faults else "as written"
        head = f"{verdict.head.seq}:{verdict.head.hash}"
        self.stdout.write(f"{shop.slug}: {verdict.events} events, {word}, head {head}")
        for fault in verdict.faults:
            self.stdout.write(f"  {fault.code}: {fault.says}")
        return not verdict.faults


def _head(text: str) -> Head:
    match = _HEAD.fullmatch(text)
    if match is None:
        raise CommandError("A head looks like 128:3fa9…, a number and 64 hexadecimal digits.")
    return Head(int(match[1]), match[2])

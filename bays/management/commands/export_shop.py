"""``manage.py export_shop``: write a shop's setting-up to standard output."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from bays.services.transfer import export_shop
from bays.transfer.document import dump_yaml
from shopcal.accounts.models import Shop


class Command(BaseCommand):
    help = "Write a shop's floor plan, equipment, people, hours, vehicles and procedures as YAML."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--shop", required=True, metavar="SLUG", help="the shop's short name")
        parser.add_argument("--json", action="store_true", help="write JSON instead of YAML")

    def handle(self, *args: Any, **options: Any) -> None:
        shop = Shop.objects.filter(slug=options["shop"]).first()
        if shop is None:
            raise CommandError(f"There is no shop “{options['shop']}”.")
        document = export_shop(shop.pk)
        if options["json"]:
            self.stdout.write(json.dumps(document, ensure_ascii=False, indent=2))
        else:
            self.stdout.write(dump_yaml(document), ending="")

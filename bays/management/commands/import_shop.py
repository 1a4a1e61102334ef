"""``manage.py import_shop``: bring a shop file in, all of it or nothing."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from bays.services.transfer import import_shop, load_document
from bays.transfer import DocumentFaults
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.errors import FieldError, Refusal


class Command(BaseCommand):
    help = (
        "Bring a shop file (YAML or JSON) in: floor plan, equipment, people, hours, vehicles,"
        " procedures. Any fault is told with its place, and then nothing is changed."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", help="the shop file, or - for standard input")
        parser.add_argument("--shop", required=True, metavar="SLUG", help="the shop's short name")
        parser.add_argument(
            "--create", action="store_true",
            help="make the shop if there is none; “manage.py open_shop” also makes its manager",
        )  # fmt: skip
        parser.add_argument(
            "--procedures", metavar="FOLDER", help="add every *.yaml in it as a procedure"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            document = load_document(_text(options["file"]))
            if options["procedures"]:
                _add_procedures(document, Path(options["procedures"]))
            with transaction.atomic():
                shop = self._shop(options["shop"], options["create"], document)
                summary = import_shop(by=Actor.system(shop.pk), document=document)
        except Refusal as refusal:
            raise CommandError(_in_words(refusal)) from refusal
        for line in summary.says():
            self.stdout.write(line)
        if not summary.anything_changed:
            self.stdout.write("Nothing was different.")

    def _shop(self, slug: str, create: bool, document: dict[str, Any]) -> Shop:
        shop = Shop.objects.filter(slug=slug).first()
        if shop is not None:
            return shop
        if not create:
            raise CommandError(f"There is no shop “{slug}”. Add --create to make it.")
        section = document.get("shop")
        name = section.get("name") if isinstance(section, dict) else None
        return Shop.objects.create(slug=slug, name=name if isinstance(name, str) else slug)


def _text(name: str) -> str:
    try:
        return sys.stdin.read() if name == "-" else Path(name).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        raise CommandError(f"{name} cannot be read: {fault}") from fault


def _add_procedures(document: dict[str, Any], folder: Path) -> None:
    if not folder.is_dir():
        raise CommandError(f"{folder} is no folder.")
    given = document.setdefault("procedures", [])
    if not isinstance(given, list):
        raise DocumentFaults([FieldError("procedures", "is no list")])
    for path in sorted(folder.glob("*.yaml")):
        try:
            given.append(load_document(_text(str(path))))
        except DocumentFaults as refused:
            errors = [FieldError(path.name, e.says, e.right) for e in refused.errors]
            raise DocumentFaults(errors) from refused


def _in_words(refusal: Refusal) -> str:
    lines = [f"{refusal.title} {refusal.detail}".strip()]
    for error in refusal.errors:
        place = f"{error.path}: " if error.path else ""
        right = f" (right: {error.right})" if error.right else ""
        lines.append(f"  {place}{error.says}{right}")
    return "\n".join(lines)

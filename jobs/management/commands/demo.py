"""Sets up the invented shop, plans its day, prints the plan and serves the pages."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from bays.services.transfer import import_shop, load_document
from jobs import demo
from jobs.demo.history import add_demo_history
from jobs.demo.morning import morning_zone
from jobs.demo.people import (
    MANAGER,
    SLUG,
    THREE,
    WRITER,
    actor_of,
    add_demo_people,
    open_demo_shop,
    set_password,
)
from jobs.demo.surveys import floor_surveys, light_surveys
from jobs.demo.visits import book_demo_visits
from jobs.models import Step
from jobs.procedures import load_yaml
from jobs.selectors.plan_table import steps_planned_after
from shopcal.accounts.models import Shop

FOLDER = Path(demo.__file__).parent


class Command(BaseCommand):
    help = "Make the invented shop (once), plan its day, print the plan and serve the pages."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--live-port", type=int, default=settings.LIVE_PORT)
        parser.add_argument("--password", default="", help="password of the three sign-ins")
        parser.add_argument(
            "--time-zone", default="", help="of the invented shop; by default where it is morning"
        )
        parser.add_argument(
            "--empty", action="store_true", help="leave out the invented visits and history"
        )
        parser.add_argument("--no-serve", action="store_true", help="only set up and print")

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0, interactive=False)
        shop = Shop.objects.filter(slug=SLUG).first() or self._new_shop(
            options["time_zone"], empty=options["empty"]
        )
        self._print_plan(shop)
        password = options["password"] or secrets.token_urlsafe(9)
        set_password(password)
        self._print_sign_ins(password, options["port"])
        if not options["no_serve"]:
            call_command("serve", port=options["port"], live_port=options["live_port"])

    def _new_shop(self, time_zone: str, *, empty: bool) -> Shop:
        self.stdout.write("Making the invented shop …")
        document = load_document((FOLDER / "shop.yaml").read_text())
        document["procedures"] = [
            load_yaml(path.read_text()) for path in sorted((FOLDER / "procedures").glob("*.yaml"))
        ]
        document["floor_surveys"], document["light_surveys"] = floor_surveys(), light_surveys()
        document["shop"]["time_zone"] = time_zone or morning_zone(timezone.now())
        shop = open_demo_shop(document["shop"]["time_zone"])
        import_shop(by=actor_of(shop, MANAGER), document=document)
        add_demo_people(shop)
        if empty:
            return shop
        now = timezone.now()
        add_demo_history(shop=shop, now=now)
        visits = book_demo_visits(by=actor_of(shop, WRITER), shop=shop, now=now)
        self.stdout.write(f"Booked {len(visits)} visits, each against a verified plan.")
        return shop

    def _print_plan(self, shop: Shop) -> None:
        rows = steps_planned_after(shop.pk, timezone.now())
        head = ("when", "RO", "vehicle", "step", "where", "who", "promised")
        table = [head, *(_cells(row, shop) for row in rows)]
        widths = [max(len(row[column]) for row in table) for column in range(len(head))]
        self.stdout.write(f"\n{shop.name}: the plan")
        for row in table:
            self.stdout.write("  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)))

    def _print_sign_ins(self, password: str, port: int) -> None:
        self.stdout.write(f"\nOpen http://localhost:{port}/ and sign in as one of")
        for person in THREE:
            self.stdout.write(f"  {person.role.label:15} {person.email:30} {password}")
        self.stdout.write("")


def _cells(step: Step, shop: Shop) -> tuple[str, ...]:
    if step.starts_at is None or step.ends_at is None:
        raise ValueError(f"{step} has no time in the plan")
    starts, ends = step.starts_at.astimezone(shop.zone), step.ends_at.astimezone(shop.zone)
    return (
        f"{starts:%a %d %b %H:%M}–{ends:%H:%M}",
        step.visit.ro_number,
        str(step.visit.vehicle),
        step.label,
        step.placement_label,
        step.technician.name if step.technician else "",
        f"{step.visit.promised_at.astimezone(shop.zone):%a %H:%M}",
    )

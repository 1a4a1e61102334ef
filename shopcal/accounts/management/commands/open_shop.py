"""``manage.py open_shop``: a new shop and its first manager."""

from __future__ import annotations

from argparse import ArgumentParser
from getpass import getpass
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from shopcal.accounts.models import Units, User
from shopcal.accounts.services.shops import open_shop
from shopcal.errors import Refusal


class Command(BaseCommand):
    help = (
        "Open a shop. Asks for the manager's password if the account has none yet; with"
        " --no-password none is asked for: “manage.py changepassword ADDRESS” sets it later."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("slug", help="short name, such as fennhollow")
        parser.add_argument("name", help="name on pages and records")
        parser.add_argument("--time-zone", default="UTC", help="such as America/Chicago")
        parser.add_argument("--units", choices=Units.values, default=Units.METRIC)
        parser.add_argument("--manager-email", required=True)
        parser.add_argument("--manager-name", required=True)
        parser.add_argument("--no-password", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            membership = open_shop(
                slug=options["slug"],
                name=options["name"],
                manager_email=options["manager_email"],
                manager_name=options["manager_name"],
                time_zone=options["time_zone"],
                units=options["units"],
            )
        except Refusal as refusal:
            raise CommandError(str(refusal)) from refusal
        user = membership.user
        if not options["no_password"] and not user.has_usable_password():
            self._ask_password(user)
        self.stdout.write(f"{membership.shop.name} is open; {user.email} manages it.")

    def _ask_password(self, user: User) -> None:
        while True:
            password = getpass(f"Password for {user.email}: ")
            try:
                validate_password(password, user)
            except ValidationError as fault:
                self.stderr.write(" ".join(fault.messages))
                continue
            user.set_password(password)
            user.save(update_fields=["password"])
            return

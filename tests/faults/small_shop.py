"""A small shop for fault tests: the invented one with one vehicle and the mats' procedure.

Run as a program it makes the shop in the database the environment names.
"""

from __future__ import annotations

from pathlib import Path

SLUG = "fault-shop"
FOLDER = Path(__file__).resolve().parent.parent.parent / "jobs" / "demo"


def make_shop() -> int:
    """The shop's id."""
    from bays.services.transfer import import_shop, load_document
    from jobs.procedures import load_yaml
    from shopcal.accounts.actor import Actor
    from shopcal.accounts.services.shops import open_shop

    membership = open_shop(
        slug=SLUG, name="Fault Shop", manager_email="m@fault.example", manager_name="M. Fault"
    )
    document = load_document((FOLDER / "shop.yaml").read_text())
    document["shop"] = {**document["shop"], "name": "Fault Shop"}
    # Open nearly around the clock, so that the test does not depend on the time of day.
    days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
    document["hours"] = {"opening": [{"days": days, "opens": "00:00", "closes": "23:55"}]}
    for technician in document["people"]["technicians"]:
        technician["shifts"] = [{"days": days, "starts": "00:00", "ends": "23:55"}]
    document["vehicle_models"] = [
        kind for kind in document["vehicle_models"] if kind["code"] == "corrie-pickup"
    ]
    document["procedures"] = [
        load_yaml((FOLDER / "procedures" / "surround_view_mats.yaml").read_text())
    ]
    import_shop(by=Actor.of(membership), document=document)
    return membership.shop_id


if __name__ == "__main__":
    import os

    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")
    django.setup()
    print(make_shop())

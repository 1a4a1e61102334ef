"""Visits, as lists and one by one."""

from __future__ import annotations

from jobs.models import Visit

FIRST_RO_NUMBER = 3101


def next_ro_number(shop_id: int) -> str:
    """One above the highest plain number in use."""
    numbers = [
        int(number)
        for number in Visit.objects.for_shop(shop_id).values_list("ro_number", flat=True)
        if number.isascii() and number.isdigit()
    ]
    return str(max(numbers, default=FIRST_RO_NUMBER - 1) + 1)

"""The sections of the physical world, in the order they build on each other."""

from __future__ import annotations

from bays.transfer import equipment, floor, hours, people, shop, surveys
from bays.transfer.sections import register


def register_sections() -> None:
    """Called once, when the app is ready."""
    for section in (
        shop.SECTION,
        hours.SECTION,
        people.SKILLS,
        equipment.SECTION,
        people.SECTION,
        floor.SECTION,
        surveys.HEIGHT_SURVEYS,
        surveys.LIGHT_SURVEYS,
    ):
        register(section)

"""Floor cases as files: read one, answer it as the service would, in the exchange format.

Metres and degrees outside, millimetres inside; x to the right, y up on the plan, headings
counter-clockwise from +x. ``python -m bays.floor CASE.json`` prints the answer.
"""

from bays.floor.exchange.answer import answer
from bays.floor.exchange.case import Case, DriveCase, FitCase, load, read_case
from bays.floor.exchange.metres import CaseFaults
from bays.floor.exchange.survey import LevelCase

__all__ = [
    "Case",
    "CaseFaults",
    "DriveCase",
    "FitCase",
    "LevelCase",
    "answer",
    "load",
    "read_case",
]

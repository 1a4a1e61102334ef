"""The care that keeps equipment fit: when it is due, and from when a unit may not be held."""

from bays.upkeep.forecast import forecast, unfit_from, uses_per_day
from bays.upkeep.rules import (
    Done,
    Due,
    DueState,
    History,
    Rule,
    UpkeepRefused,
    by_date,
    status,
)

__all__ = [
    "Done",
    "Due",
    "DueState",
    "History",
    "Rule",
    "UpkeepRefused",
    "by_date",
    "forecast",
    "status",
    "unfit_from",
    "uses_per_day",
]

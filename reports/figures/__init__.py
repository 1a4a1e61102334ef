"""What a shop's days come to, from plain facts. Imports no Django.

Every share says of how many it is, and its interval says how little a few cases tell.
"""

from reports.figures.promises import Promise, keeping
from reports.figures.rework import (
    RETURN_WITHIN_DAYS,
    Attempted,
    CauseCount,
    Concluded,
    causes_of_rework,
    first_time_through,
)
from reports.figures.shares import Share, share_of
from reports.figures.throughput import DayCount, per_day, week_of
from reports.figures.use import Span, Use, clipped, minutes_of, use_of

__all__ = [
    "RETURN_WITHIN_DAYS",
    "Attempted",
    "CauseCount",
    "Concluded",
    "DayCount",
    "Promise",
    "Share",
    "Span",
    "Use",
    "causes_of_rework",
    "clipped",
    "first_time_through",
    "keeping",
    "minutes_of",
    "per_day",
    "share_of",
    "use_of",
    "week_of",
]

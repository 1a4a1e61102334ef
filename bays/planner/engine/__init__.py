"""The compiled planner: calendars as bits, vehicles put in one by one, ruin and recreate."""

from pathlib import Path

from bays.machine_code import forget_if_changed

forget_if_changed(Path(__file__).parent)

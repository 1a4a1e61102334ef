"""The work and events that make a calibration necessary."""

from __future__ import annotations

from typing import Final

WORK_CODES: Final = {
    "windscreen_replaced": "windscreen replaced",
    "camera_bracket_moved": "camera or its bracket taken off or moved",
    "bumper_front_removed": "front bumper taken off",
    "bumper_rear_removed": "rear bumper taken off",
    "door_mirror_replaced": "door mirror replaced",
    "wheel_alignment_done": "wheel alignment done",
    "ride_height_changed": "ride height or tyre size changed",
    "suspension_repaired": "suspension repaired",
    "module_replaced": "module replaced and programmed",
    "steering_repaired": "steering repaired",
    "collision_structural": "structure repaired after a collision",
    "tailgate_replaced": "tailgate replaced",
    "code_stored": "trouble code asks for it",
}

"""Where each number stands in the engine's integer tables; one row an operation, vehicle, place.

Times are cells of the planner's grid unless the name says minutes. -1 stands for "none".
"""

from __future__ import annotations

from typing import Final

UNITS_AT_MOST: Final = 6

# Operations, one row each, vehicle after vehicle.
OP_CELLS: Final = 0  # how long it takes people, units and floor
OP_MINUTES: Final = 1
OP_LAG: Final = 2  # minutes
OP_NOT_BEFORE: Final = 3
OP_PEOPLE: Final = 4  # where its able people begin as pairs: resource, row of its skill
OP_PEOPLE_COUNT: Final = 5
OP_GROUPS: Final = 6  # where its groups of units begin in the pool: pool addresses
OP_GROUP_COUNT: Final = 7
OP_PLACES: Final = 8
OP_PLACE_COUNT: Final = 9
OP_ANYWHERE: Final = 10
OP_PINNED: Final = 11
OP_HELP: Final = 12  # cells for which a second person is needed
OP_SET_UP: Final = 13
OP_SHARED_MINUTES: Final = 14
OP_OLD_CELL: Final = 15  # what the plan in force says; -2 where that start is off the grid
OP_OLD_TECHNICIAN: Final = 16
OP_OLD_PLACE: Final = 17
OP_UNIT_COUNT: Final = 18
OP_OLD_UNITS: Final = 19  # as many columns as a row has for units
OP_WIDTH: Final = OP_OLD_UNITS + UNITS_AT_MOST

# Vehicles.
V_FIRST: Final = 0  # its first operation
V_STOP: Final = 1
V_RELEASE: Final = 2  # minutes
V_DUE: Final = 3  # minutes
V_LATE_COST: Final = 4  # a minute past its promise
V_FLOW_COST: Final = 5  # a minute here
V_STANDS: Final = 6
V_LOOSE: Final = 7  # whether any of its operations may move
V_OWN: Final = 8  # where its own blocks begin in the pool: (resource, first cell, stop cell)
V_OWN_COUNT: Final = 9
V_WIDTH: Final = 10

# Places.
P_ZONES: Final = 0
P_ZONE_COUNT: Final = 1
P_CROSSED: Final = 2
P_CROSSED_COUNT: Final = 3
P_ON_FLOOR: Final = 4
P_DRIVE_MINUTES: Final = 5
P_ROAD: Final = 6
P_WIDTH: Final = 7

# Rows of a plan, one for each operation.
R_CELL: Final = 0
R_END_MINUTE: Final = 1
R_STOP: Final = 2  # the cell in which everything but the floor is free again
R_TECHNICIAN: Final = 3
R_SECOND: Final = 4
R_PLACE: Final = 5
R_PARK: Final = 6
R_WAY: Final = 7  # cells its technician drives before it starts
R_UNITS: Final = 8
R_WIDTH: Final = R_UNITS + UNITS_AT_MOST

# Figures of the whole problem.
F_NOW: Final = 0  # minute
F_CELLS: Final = 1
F_LOT: Final = 2
F_MOVE_COST: Final = 3
F_CHANGED_START: Final = 4
F_CHANGED_RESOURCE: Final = 5
F_DRIVE: Final = 6  # whether technicians drive
F_CROSSED: Final = 7  # whether any place is reached through zones of others
F_PEOPLE: Final = 8  # everyone in the pool, as (resource, -1) pairs
F_PEOPLE_COUNT: Final = 9
F_HAS_OLD: Final = 10
F_OPERATIONS: Final = 11  # where the tables begin
F_VEHICLES: Final = 12
F_PLACES: Final = 13
F_TRAVEL: Final = 14
F_PLACE_COUNT: Final = 15
F_WIDTH: Final = 16

CELL_MINUTES: Final = 5

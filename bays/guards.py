"""What the database itself refuses in this app: double booking, and changing a published floor."""

from __future__ import annotations

from bays.overlap import GUARDS as OVERLAP
from shopcal.frozen import frozen

GUARDS = (*OVERLAP, *frozen("bays_floorplanedition", "a published floor plan is never changed"))

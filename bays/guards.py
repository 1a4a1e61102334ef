"""What the database itself refuses here: double booking, changing a floor plan or a survey."""

from __future__ import annotations

from bays.overlap import GUARDS as OVERLAP
from shopcal.frozen import frozen

GUARDS = (*OVERLAP, *frozen("bays_floorplanedition", "a published floor plan is never changed"))

# Apart, since the first migration installs the others before there are light surveys.
SURVEY_GUARDS = (
    *frozen("bays_floorsurvey", "a survey is never changed"),
    *frozen("bays_lightsurvey", "a light survey is never changed"),
)

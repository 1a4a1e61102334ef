"""What the floor answers, in words and as facts: the shapes of it that the API gives."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, get_args

from rest_framework import serializers

from bays import floor
from bays.floor.telling import Outcome


class PoseOut(serializers.Serializer[Any]):
    """The middle of the rear axle on the floor, and the heading."""

    x_mm = serializers.FloatField()
    y_mm = serializers.FloatField()
    heading_deg = serializers.FloatField()


class OutlineField(serializers.ListField):
    child = serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2)


class CodesField(serializers.ListField):
    child = serializers.CharField()


class PlacementOut(serializers.Serializer[Any]):
    key = serializers.CharField()
    label = serializers.CharField(  # type: ignore[assignment]  # the metaclass takes it away
        help_text="As people say it, such as “Bays 1 + 2”."
    )
    zones = CodesField()
    bay_ids = CodesField()
    pose = PoseOut()
    margin_mm = serializers.FloatField(help_text="How far the clear zone could grow all round.")
    polygon = OutlineField(help_text="Outline of the clear zone on the floor, millimetres.")
    body = OutlineField(help_text="Outline of the vehicle on the floor, millimetres.")


class ShortfallOut(serializers.Serializer[Any]):
    side = serializers.ChoiceField(choices=["front", "rear", "left", "right"])
    by_mm = serializers.FloatField()
    against = CodesField(help_text="“wall”, ids of obstacles, codes of zones; the worst first.")


class EmptyingOut(serializers.Serializer[Any]):
    zones = CodesField(help_text="Codes of zones that would have to become free.")
    free_at = serializers.DateTimeField(
        allow_null=True, help_text="From when they are, if that is known."
    )
    placement = PlacementOut(help_text="What then fits.")


class RemovalOut(serializers.Serializer[Any]):
    obstacle = serializers.CharField()
    movable = serializers.BooleanField(help_text="By its kind: racks and benches, not columns.")
    placement = PlacementOut(help_text="What fits without it.")


class FloorVerdictOut(serializers.Serializer[Any]):
    of = serializers.ChoiceField(choices=["level", "light"])
    verdict = serializers.ChoiceField(choices=["yes", "no", "unknown"])
    says = serializers.CharField()
    reason = serializers.CharField()


class DriveFactOut(serializers.Serializer[Any]):
    drivable = serializers.ChoiceField(choices=["yes", "not found", "impossible"])
    only_in_reverse = serializers.BooleanField(help_text="A way in reverse is known, none forward.")
    forward_impossible = serializers.BooleanField(help_text="That there is none is proven.")
    zones_to_empty = CodesField(help_text="Occupied zones that the way found crosses.")
    direction_changes = serializers.IntegerField()
    minutes = serializers.FloatField(allow_null=True)


OUTCOMES = list(get_args(Outcome))


class FloorAnswerOut(serializers.Serializer[Any]):
    """Where it fits, or what would help, or why nothing does."""

    outcome = serializers.ChoiceField(
        choices=OUTCOMES,
        help_text="`turned`: only the other way round or at another heading; `occupied`: if "
        "emptied; `floor_unfit`: not level or not light enough there.",
    )
    says = serializers.CharField(help_text="To be read aloud.")
    answer = serializers.CharField(help_text="The same without the remarks.")
    remarks = CodesField(help_text="What has to be known besides.")
    fits = PlacementOut(allow_null=True, help_text="Where it fits as things stand.")
    spare_mm = serializers.FloatField(allow_null=True, help_text="Room to spare there.")
    needs_mm = serializers.FloatField(
        help_text="Of the room to spare, what the step's setting-up tolerances need."
    )
    shortfalls = ShortfallOut(many=True, help_text="At `pose`, in the empty shop.")
    zones_to_empty = serializers.ListField(
        child=CodesField(), help_text="The smallest sets of zones that would have to become free."
    )
    emptying = EmptyingOut(many=True, help_text="The same with times and places, soonest first.")
    removals = RemovalOut(many=True, help_text="Single obstacles without which it would fit.")
    turned_round = serializers.BooleanField(
        allow_null=True, help_text="Whether it fits the other way round; null where not asked."
    )
    pose = PoseOut(allow_null=True)
    bay = serializers.CharField(allow_null=True)
    floor = FloorVerdictOut(many=True)
    drive = DriveFactOut(allow_null=True, help_text="Null where no way in was asked for.")
    proven = serializers.BooleanField(help_text="False where it was only not found.")


def placement_facts(one: floor.Placement) -> dict[str, Any]:
    """A placement for ``PlacementOut``."""
    return {
        "key": one.key,
        "label": one.label,
        "zones": sorted(one.zones),
        "bay_ids": list(one.bay_ids),
        "pose": one.pose._asdict(),
        "margin_mm": one.margin_mm,
        "polygon": one.polygon,
        "body": one.body,
    }


def answer_facts(told: floor.WhyNot) -> dict[str, Any]:
    """An answer for ``FloorAnswerOut``."""
    drive = None if told.drive is None else asdict(told.drive)
    if drive is not None:
        drive["zones_to_empty"] = sorted(drive["zones_to_empty"])
    return {
        **{name: getattr(told, name) for name in _AS_THEY_ARE},
        "remarks": list(told.remarks),
        "fits": None if told.fits is None else placement_facts(told.fits),
        "shortfalls": [asdict(short) for short in told.shortfalls],
        "zones_to_empty": [sorted(zones) for zones in told.zones_to_empty],
        "emptying": [
            {
                "zones": sorted(way.zones),
                "free_at": way.free_at,
                "placement": placement_facts(way.placement),
            }
            for way in told.emptying
        ],
        "removals": [
            {
                "obstacle": way.obstacle,
                "movable": way.movable,
                "placement": placement_facts(way.placement),
            }
            for way in told.removals
        ],
        "pose": None if told.pose is None else told.pose._asdict(),
        "floor": [asdict(one) for one in told.floor],
        "drive": drive,
    }


_AS_THEY_ARE = (
    "outcome", "says", "answer", "spare_mm", "needs_mm", "turned_round", "bay", "proven",
)  # fmt: skip

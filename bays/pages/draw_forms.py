"""What a manager types to draw: lengths in the shop's units, corners line by line."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from bays.floor.edits import OBSTACLE_KINDS, as_box, own_bay
from bays.floor.plan import ZONE_KINDS
from bays.lengths import LengthRefused, Units, example, parse_length, say_length
from bays.pages.moments import ShopForm
from bays.pages.setup_forms import MOST_BYTES

_BETWEEN = re.compile(r"\s*;\s*|\t+|\s*,\s+|\s{2,}")


class LengthField(forms.CharField):
    """A length as people type it, cleaned to whole millimetres; the form sets ``units``."""

    def __init__(self, *, least_mm: int | None = None, **kwargs: Any) -> None:
        super().__init__(max_length=60, **kwargs)
        self.units: Units = "metric"
        self.least_mm = least_mm
        self.widget.attrs.update({"autocomplete": "off", "spellcheck": "false"})

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            found = round(parse_length(text, self.units))
        except LengthRefused as refused:
            raise forms.ValidationError(f"{refused.title} {refused.detail}") from None
        if self.least_mm is not None and found < self.least_mm:
            raise forms.ValidationError(f"At least {say_length(self.least_mm, self.units)}.")
        if abs(found) > 1_000_000:
            raise forms.ValidationError("Nothing in a shop is farther off than 1 km.")
        return found


class DrawForm(ShopForm):
    """A form whose lengths are read in the shop's units."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.units: Units = "us" if self.shop.units == "us" else "metric"
        for field in self.fields.values():
            if isinstance(field, LengthField):
                field.units = self.units


class HallForm(DrawForm):
    """An empty rectangle to begin with."""

    name = forms.CharField(label="Name of the floor", max_length=120, initial="Main hall")
    width = LengthField(label="Width, left to right", least_mm=1000)
    depth = LengthField(label="Depth, front to back", least_mm=1000)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["width"].help_text = f"Such as {example(self.units)}."


class DrawingFileForm(DrawForm):
    """A drawing in our own format, or a shop file that has one in it."""

    file = forms.FileField(
        label="YAML or JSON file",
        help_text="A shop file, or its part “floor” alone.",
        widget=forms.FileInput(attrs={"accept": ".yaml,.yml,.json"}),
        error_messages={"required": "Choose a file first.", "empty": "This file is empty."},
    )

    def clean_file(self) -> Any:
        given = self.cleaned_data["file"]
        if given.size > MOST_BYTES:
            raise forms.ValidationError("This file is too large: at most 4 MB.")
        return given


class DxfForm(DrawForm):
    file = forms.FileField(
        label="DXF file",
        help_text="Two-dimensional, at most 8 MB. You say next what each of its layers means.",
        widget=forms.FileInput(attrs={"accept": ".dxf"}),
        error_messages={"required": "Choose a file first.", "empty": "This file is empty."},
    )


class PlanNameForm(DrawForm):
    name = forms.CharField(label="Name of the floor", max_length=120)


class BoxForm(DrawForm):
    """Where a shape is and how large; for one that is no rectangle, the box round it."""

    x = LengthField(label="From the left")
    y = LengthField(label="From the front")
    width = LengthField(label="Width", least_mm=1)
    depth = LengthField(label="Depth", least_mm=1)
    turn_deg = forms.FloatField(
        label="Turned to the left, degrees",
        min_value=-360,
        max_value=360,
        initial=0,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )

    @classmethod
    def values_of(cls, ring: Sequence[Sequence[int]], units: Units) -> dict[str, Any]:
        box = as_box(ring)
        if box is not None:
            x, y, width, depth, turn = box.x, box.y, box.width, box.depth, box.turn_deg
        else:
            xs, ys = [c[0] for c in ring] or [0], [c[1] for c in ring] or [0]
            x, y, turn = min(xs), min(ys), 0.0
            width, depth = max(xs) - x, max(ys) - y
        lengths = {"x": x, "y": y, "width": width, "depth": depth}
        said = {key: say_length(mm, units) for key, mm in lengths.items()}
        return {**said, "turn_deg": f"{turn:g}"}


class CornersForm(DrawForm):
    """Every corner on a line of its own."""

    corners = forms.CharField(
        label="Corners, one on each line",
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false", "autocomplete": "off"}),
        help_text="From the left; from the front.",
        max_length=40_000,
    )

    @classmethod
    def values_of(cls, ring: Sequence[Sequence[int]], units: Units) -> dict[str, Any]:
        lines = (f"{say_length(x, units)}; {say_length(y, units)}" for x, y in ring)
        return {"corners": "\n".join(lines)}

    def clean_corners(self) -> list[list[int]]:
        ring, faults = [], []
        for number, line in enumerate(self.cleaned_data["corners"].splitlines(), start=1):
            if not line.strip():
                continue
            try:
                ring.append(self._corner(line))
            except LengthRefused as refused:
                faults.append(f"Line {number}: {refused.title} {refused.detail}")
        if faults:
            raise forms.ValidationError(faults[:10])
        return ring

    def _corner(self, line: str) -> list[int]:
        parts = _BETWEEN.split(line.strip())
        if len(parts) != 2:
            right = "Write two lengths with a semicolon between them, such as 3.2 m; 4 m."
            raise LengthRefused("This is no corner.", right)
        return [round(parse_length(part, self.units)) for part in parts]


class ObstacleForm(DrawForm):
    id = forms.CharField(label="Code", max_length=80)
    kind = forms.CharField(
        label="What it is", max_length=60, widget=forms.TextInput(attrs={"list": "obstacle-kinds"})
    )
    kinds = OBSTACLE_KINDS


class DoorForm(DrawForm):
    id = forms.CharField(label="Code", max_length=80)
    from_x = LengthField(label="One end, from the left")
    from_y = LengthField(label="One end, from the front")
    to_x = LengthField(label="Other end, from the left")
    to_y = LengthField(label="Other end, from the front")
    height = LengthField(label="Clear height", required=False, least_mm=500)

    @classmethod
    def values_of(cls, row: Mapping[str, Any], units: Units) -> dict[str, Any]:
        (ax, ay), (bx, by) = row["from"], row["to"]
        lengths = {"from_x": ax, "from_y": ay, "to_x": bx, "to_y": by}
        said = {key: say_length(mm, units) for key, mm in lengths.items()}
        if row.get("height_mm"):
            said["height"] = say_length(row["height_mm"], units)
        return {"id": row["id"], **said}


def _heading_field() -> forms.FloatField:
    return forms.FloatField(
        label="Vehicles face, degrees",
        help_text="0 faces right, 90 to the back, 180 left, 270 to the front.",
        min_value=-360,
        max_value=360,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )


class ZoneForm(DrawForm):
    name = forms.CharField(label="Name", max_length=120)
    id = forms.CharField(
        label="Code", max_length=80, help_text="Bookings hold the floor by it: keep it if you can."
    )
    kind = forms.ChoiceField(label="What it is", choices=[(k, k) for k in ZONE_KINDS])
    stands = forms.BooleanField(label="A vehicle stands here", required=False)
    heading_deg = _heading_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["heading_deg"].required = False

    @classmethod
    def values_of(cls, drawing: Mapping[str, Any], row: Mapping[str, Any]) -> dict[str, Any]:
        bay = own_bay(dict(drawing), row["id"])
        heading = f"{drawing['bays'][bay]['heading_deg']:g}" if bay is not None else ""
        kept = {key: row[key] for key in ("id", "name", "kind")}
        return {**kept, "stands": bay is not None, "heading_deg": heading}


class JoinedBayForm(DrawForm):
    """Several zones used as one bay."""

    name = forms.CharField(label="Name", max_length=120)
    id = forms.CharField(label="Code", max_length=80)
    zones = forms.MultipleChoiceField(
        label="Zones it takes", widget=forms.CheckboxSelectMultiple, choices=()
    )
    heading_deg = _heading_field()
    centre_x = LengthField(label="Middle, from the left")
    centre_y = LengthField(label="Middle, from the front")

    def __init__(self, *args: Any, drawing: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zones = self.fields["zones"]
        assert isinstance(zones, forms.MultipleChoiceField)
        zones.choices = [(zone["id"], zone["name"] or zone["id"]) for zone in drawing["zones"]]

    @classmethod
    def values_of(cls, row: Mapping[str, Any], units: Units) -> dict[str, Any]:
        x, y = row["centre"]
        return {
            **{key: row[key] for key in ("id", "name", "zones")},
            "heading_deg": f"{row['heading_deg']:g}",
            "centre_x": say_length(x, units),
            "centre_y": say_length(y, units),
        }

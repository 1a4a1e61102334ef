"""What a manager types of a survey: the readings as a table, the instrument, the days."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from django import forms

from bays.convert.readings import Readings, parse_readings
from bays.floor.light_answer import LUX_PER_FOOTCANDLE
from bays.pages.moments import ShopForm, day_input
from bays.services.surveys import MOST_POINTS
from shopcal.errors import FieldError

LENGTHS: Final = {"mm": 1.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
LUX: Final = {"lux": 1.0, "fc": LUX_PER_FOOTCANDLE}
_LENGTH_WORDS: Final = [("m", "metres"), ("mm", "millimetres"), ("ft", "feet"), ("in", "inches")]
MOST_BYTES: Final = 2_000_000
MOST_TOLD: Final = 8
_TABLE_HINT: Final = (
    "A reading a line: x, y and what was read there, parted by tabs, semicolons, commas or spaces. "
    "x runs to the right and y up on the floor plan, from its lower left corner."
)


class _SurveyForm(ShopForm):
    """Both kinds; ``readings`` is the table as it was read, ``points`` what the service takes."""

    table = forms.CharField(
        label="Readings",
        error_messages={"required": "Paste or type the readings, or choose a file of them."},
        max_length=MOST_BYTES,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 14, "spellcheck": "false", "autocomplete": "off"}),
        help_text=_TABLE_HINT,
    )
    file = forms.FileField(
        label="or a file of them",
        required=False,
        help_text="CSV or text, as a spreadsheet or an instrument writes it.",
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt"}),
    )
    places_in = forms.ChoiceField(label="x and y are in", choices=_LENGTH_WORDS)
    instrument = forms.CharField(
        label="Read with",
        max_length=120,
        help_text="Make, model and serial number.",
        error_messages={"required": "Write what it was read with."},
    )
    surveyed_on = forms.DateField(
        label="Read on",
        widget=day_input(),
        error_messages={"required": "Say on which day it was read."},
    )
    due_on = forms.DateField(
        label="Good until",
        widget=day_input(),
        required=False,
        help_text="The last day it may be relied on. After it no bay is said to be fit by it.",
    )
    notes = forms.CharField(
        label="Notes",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    readings = Readings((), ())
    # a browser would ask for the table even where a file is chosen
    use_required_attribute = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["table"].required = not self.files.get("file")

    @property
    def points(self) -> list[list[float]]:
        """The readings in millimetres and the unit inside."""
        place, value = LENGTHS[self._chosen("places_in")], self._value_factor()
        return [[row.x * place, row.y * place, row.value * value] for row in self.readings.rows]

    def _chosen(self, name: str) -> str:
        return str(self.cleaned_data.get(name) or self.initial.get(name))

    def _value_factor(self) -> float:
        raise NotImplementedError

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if "table" in cleaned and "file" in cleaned:
            self.readings = parse_readings(self._text(cleaned))
            self._tell_table()
        return cleaned

    def _text(self, cleaned: dict[str, Any]) -> str:
        given = cleaned.get("file")
        if given is None:
            return str(cleaned["table"])
        if given.size > MOST_BYTES:
            self.add_error("file", "This file is too large: at most 2 MB.")
            return ""
        raw: bytes = given.read()
        try:
            return raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            return raw.decode("latin-1")

    def _tell_table(self) -> None:
        faults = [f"Line {fault.line} {fault.says}." for fault in self.readings.faults]
        if not self.readings.rows and not faults:
            faults.append("There is no reading in it.")
        if len(self.readings.rows) > MOST_POINTS:
            faults.append(f"There are more than {MOST_POINTS} readings.")
        self._add_table(faults)

    def _add_table(self, faults: Sequence[str]) -> None:
        for says in faults[:MOST_TOLD]:
            self.add_error("table", says)
        if len(faults) > MOST_TOLD:
            self.add_error("table", f"And {len(faults) - MOST_TOLD} lines more.")

    def take(self, refusal_errors: Sequence[FieldError]) -> None:
        """Put a service's faults beside their fields; a reading's are told by its line."""
        told, others = [], []
        for fault in refusal_errors:
            index = point_index(fault.path)
            if index is not None:
                # the place is told in millimetres by the service; the line is enough here
                says = fault.says.partition("] ")[2] or fault.says
                told.append(f"Line {self.readings.line_of(index)} {says}.")
            elif fault.path == "points":
                told.append(f"The readings {fault.says}.")
            elif fault.path.startswith("reading_uncertainty"):
                others.append(FieldError("reading_error", fault.says, fault.right))
            else:
                others.append(fault)
        self._add_table(told)
        super().take(others)


def point_index(path: str) -> int | None:
    """The place of a reading that a fault is about: 3 for ``points[3]``."""
    if not path.startswith("points["):
        return None
    return int(path[len("points[") : path.index("]")])


_RATHER: Final = (
    "One standard deviation. Of a limit of error that the maker gives take it divided by 1.7, "
    "of a figure for 95 % divided by 2."
)


class HeightsForm(_SurveyForm):
    """Heights of the floor."""

    heights_in = forms.ChoiceField(label="heights are in", choices=_LENGTH_WORDS)
    reading_error = forms.FloatField(
        label="Standard uncertainty of one height",
        error_messages={"required": "Write how far a reading may be off."},
        help_text=_RATHER,
    )

    field_order = (
        "table", "file", "places_in", "heights_in", "instrument", "reading_error", "surveyed_on",
        "due_on", "notes",
    )  # fmt: skip

    def _value_factor(self) -> float:
        return LENGTHS[self._chosen("heights_in")]

    def facts(self) -> dict[str, Any]:
        """What the service takes."""
        cleaned = self.cleaned_data
        inch = LENGTHS["in"] if self.shop.units == "us" else 1.0
        return {
            "points": self.points,
            "surveyed_on": cleaned["surveyed_on"],
            "due_on": cleaned["due_on"],
            "instrument": cleaned["instrument"],
            "reading_uncertainty_mm": cleaned["reading_error"] * inch,
            "notes": cleaned["notes"],
        }


class LightForm(_SurveyForm):
    """Illuminance at the floor."""

    light_in = forms.ChoiceField(
        label="light is in", choices=[("lux", "lux"), ("fc", "footcandles")]
    )
    reading_error = forms.FloatField(
        label="Standard uncertainty of a reading",
        error_messages={"required": "Write how far a reading may be off."},
        help_text=_RATHER,
    )
    conditions = forms.CharField(
        label="Lamps and daylight",
        required=False,
        max_length=200,
        help_text="Which lamps were on, and whether daylight came in.",
    )

    field_order = (
        "table", "file", "places_in", "light_in", "conditions", "instrument", "reading_error",
        "surveyed_on", "due_on", "notes",
    )  # fmt: skip

    def _value_factor(self) -> float:
        return LUX[self._chosen("light_in")]

    def facts(self) -> dict[str, Any]:
        """What the service takes."""
        cleaned = self.cleaned_data
        return {
            "points": self.points,
            "surveyed_on": cleaned["surveyed_on"],
            "due_on": cleaned["due_on"],
            "instrument": cleaned["instrument"],
            "reading_uncertainty_percent": cleaned["reading_error"],
            "conditions": cleaned["conditions"],
            "notes": cleaned["notes"],
        }

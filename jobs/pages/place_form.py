"""What is to be placed, and where: read from the address of the page."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import Any

from django import forms
from django.http import QueryDict

from bays import floor
from bays.lengths import LengthRefused, example, parse_length, say_length
from jobs.models import ProcedureEdition, VehicleModel, Visit
from jobs.models.vehicle import Dimensions
from jobs.pages.floor_words import shop_units
from jobs.pages.moments import ShopWords
from jobs.procedures import ProcedureContent
from jobs.selectors.procedures import content_of, current_editions
from jobs.selectors.vehicles import vehicle_kinds
from jobs.selectors.visits import open_visits

ALONE = "vehicle-alone"
FARTHEST_MM = 1_000_000


class LengthField(forms.CharField):
    """A distance on the floor as the shop writes it; cleans to millimetres."""

    def __init__(self, words: ShopWords, **kwargs: Any) -> None:
        self.units = shop_units(words.units)
        super().__init__(max_length=40, **kwargs)

    def clean(self, value: str) -> float:
        text = super().clean(value)
        try:
            found = parse_length(text, self.units)
        except LengthRefused as refused:
            raise forms.ValidationError(f"{refused.title} {refused.detail}") from refused
        if abs(found) > FARTHEST_MM:
            raise forms.ValidationError("That is farther than any floor reaches.")
        return found


class PlaceForm(forms.Form):
    """A vehicle, a procedure, a pose. ``x`` and ``y`` lead to the middle of the rear axle."""

    use_required_attribute = False

    vehicle = forms.ChoiceField(
        label="Vehicle",
        error_messages={"invalid_choice": "There is no such vehicle here: choose from the list."},
    )
    procedure = forms.ChoiceField(
        label="Procedure",
        error_messages={"invalid_choice": "There is no such procedure: choose from the list."},
    )
    heading = forms.FloatField(
        label="Heading, degrees",
        min_value=-360,
        max_value=360,
        help_text="0 is to the right, 90 up.",
        widget=forms.NumberInput(attrs={"step": "any"}),
    )

    def __init__(self, given: QueryDict, *, shop_id: int, words: ShopWords) -> None:
        self.words = words
        self.visits = {f"visit-{visit.pk}": visit for visit in open_visits(shop_id)}
        self.kinds = {f"kind-{kind.code}": kind for kind in vehicle_kinds(shop_id)}
        self.editions = {
            edition.procedure.code: edition
            for edition in current_editions(shop_id)
            if not content_of(edition).road
        }
        self.said: dict[str, str] = {name: str(given[name]) for name in given}
        self.said.setdefault("vehicle", self._first_vehicle())
        if not self.said.get("procedure"):
            self.said["procedure"] = self._first_procedure(self.said["vehicle"])
        super().__init__(self.said)
        where = f"Such as {example(shop_units(words.units))}."
        self.fields["x"] = LengthField(words, label="x, from the left", help_text=where)
        self.fields["y"] = LengthField(words, label="y, from below")
        self.fields["vehicle"].choices = self._vehicle_choices()  # type: ignore[attr-defined]
        self.fields["procedure"].choices = [  # type: ignore[attr-defined]
            *((code, edition.procedure.name) for code, edition in self.editions.items()),
            (ALONE, "No procedure: the vehicle alone"),
        ]

    def says_where(self) -> bool:
        """Whether a pose was given at all."""
        return all(self.said.get(name) for name in ("x", "y", "heading"))

    def put(self, pose: floor.Pose) -> None:
        """Fill a pose in, as somebody would have typed it."""
        units = shop_units(self.words.units)
        self.said["x"] = say_length(pose.x_mm, units)
        self.said["y"] = say_length(pose.y_mm, units)
        self.said["heading"] = f"{pose.heading_deg % 360:.4f}".rstrip("0").rstrip(".")

    @property
    def pose(self) -> floor.Pose:
        said = self.cleaned_data
        return floor.Pose(said["x"], said["y"], said["heading"] % 360)

    @property
    def visit(self) -> Visit | None:
        return self.visits.get(self.said["vehicle"])

    @property
    def sized(self) -> Dimensions | None:
        """Whose sizes count: the vehicle's of a visit, or a kind's."""
        return self.visit.vehicle if self.visit else self.kinds.get(self.said["vehicle"])

    @property
    def edition(self) -> ProcedureEdition | None:
        return self.editions.get(self.said["procedure"])

    @cached_property
    def content(self) -> ProcedureContent | None:
        return content_of(self.edition) if self.edition else None

    def _first_vehicle(self) -> str:
        return next(iter([*self.visits, *self.kinds]), "")

    def _first_procedure(self, vehicle: str) -> str:
        """What the visit needs, or the first procedure with a clear zone."""
        visit = self.visits.get(vehicle)
        if visit is not None:
            for calibration in visit.calibrations.select_related("edition__procedure"):
                if calibration.edition.procedure.code in self.editions:
                    return calibration.edition.procedure.code
        with_zone = (code for code, e in self.editions.items() if content_of(e).clear_zone)
        return next(with_zone, ALONE)

    def _vehicle_choices(self) -> list[Any]:
        return [
            ("Visits", [(key, _visit_words(visit)) for key, visit in self.visits.items()]),
            ("Kinds of vehicle", _kind_choices(self.kinds.items())),
        ]


def _visit_words(visit: Visit) -> str:
    return f"{visit.ro_number} {visit.vehicle.label}"


def _kind_choices(kinds: Iterable[tuple[str, VehicleModel]]) -> list[tuple[str, str]]:
    return [(key, str(kind)) for key, kind in kinds]

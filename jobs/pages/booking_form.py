"""The booking form: what is said on the phone, read into a request."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from functools import cached_property
from typing import Any

from django import forms

from jobs.metrology import ReadingRefused, parse_quantity
from jobs.pages.disruption_forms import MomentField
from jobs.pages.moments import ShopWords
from jobs.planning.request import BookingRequest, Sizes
from jobs.procedures import WORK_CODES
from jobs.selectors.vehicles import vehicle_kinds
from shopcal.errors import FieldError

SIZES = {
    "width_mm": "Width without mirrors",
    "wheelbase_mm": "Wheelbase",
    "front_overhang_mm": "Front bumper to front axle",
    "rear_overhang_mm": "Rear axle to rear bumper",
    "tyre_track_mm": "Across the rear tyres",
    "turning_circle_mm": "Turning circle, kerb to kerb",
}
OPTIONAL_SIZES = ("tyre_track_mm", "turning_circle_mm")
NEEDED = ("vin", "work", "kind_code", "arrives_at", "ro_number", "customer_name")
SYSTEM = "system_"
# Fields a service may name that stand under another name on the page.
BESIDE = {"sizes": "width_mm", "systems": "work"}


class BookingForm(forms.Form):
    """Nothing is required by the form itself: offers come as soon as there is enough for them."""

    use_required_attribute = False

    vin = forms.CharField(
        label="VIN",
        required=False,
        max_length=40,
        widget=forms.TextInput(
            attrs={
                "autofocus": True,
                "autocomplete": "off",
                "autocapitalize": "characters",
                "spellcheck": "false",
            }
        ),
    )
    vin_confirmed = forms.BooleanField(
        label="I compared it with the plate on the vehicle", required=False
    )
    work = forms.MultipleChoiceField(
        label="What was done",
        required=False,
        choices=[(code, says) for code, says in WORK_CODES.items()],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": "There is no such work: choose from the list."},
    )
    kind_code = forms.ChoiceField(label="Kind of vehicle", required=False)
    label = forms.CharField(
        label="What vehicle it is", required=False, max_length=120, help_text="For example: Heron"
    )
    width_mm = forms.CharField(label=SIZES["width_mm"], required=False, max_length=20)
    wheelbase_mm = forms.CharField(label=SIZES["wheelbase_mm"], required=False, max_length=20)
    front_overhang_mm = forms.CharField(
        label=SIZES["front_overhang_mm"], required=False, max_length=20
    )
    rear_overhang_mm = forms.CharField(
        label=SIZES["rear_overhang_mm"], required=False, max_length=20
    )
    tyre_track_mm = forms.CharField(label=SIZES["tyre_track_mm"], required=False, max_length=20)
    turning_circle_mm = forms.CharField(
        label=SIZES["turning_circle_mm"], required=False, max_length=20
    )
    arrives_at = MomentField(label="Arrives", required=False, help_text="Empty: it is here now.")
    wanted_by = MomentField(label="Wanted by", required=False)
    wished_at = MomentField(
        label="Around", required=False, help_text="If the customer asks for a time."
    )
    ro_number = forms.CharField(label="Repair order", required=False, max_length=40)
    plate = forms.CharField(label="Plate", required=False, max_length=20)
    customer_name = forms.CharField(label="Customer", required=False, max_length=120)
    customer_phone = forms.CharField(
        label="Phone", required=False, max_length=40, widget=forms.TextInput(attrs={"type": "tel"})
    )
    customer_email = forms.EmailField(
        label="E-mail",
        required=False,
        error_messages={"invalid": "This is no e-mail address: write it like ida@marsh.example."},
    )
    notes = forms.CharField(
        label="Notes", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, shop_id: int, words: ShopWords, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.words = words
        for field in self.fields.values():
            if isinstance(field, MomentField):
                field.words = words
        kind = self.fields["kind_code"]
        assert isinstance(kind, forms.ChoiceField)
        kind.choices = [
            ("", "as the VIN says"),
            *((kind.code, str(kind)) for kind in vehicle_kinds(shop_id)),
        ]

    @property
    def systems_said(self) -> dict[str, bool]:
        """Systems somebody looked for: code, and whether the vehicle has it."""
        said = {
            name.removeprefix(SYSTEM): value
            for name, value in self.data.items()
            if name.startswith(SYSTEM)
        }
        return {
            code: value == "yes" for code, value in said.items() if value in ("yes", "no") and code
        }

    def mark_needed(self) -> None:
        """Only for the page: fields that are not “if any”, though offers come without them."""
        _ = self.errors
        for name in (*NEEDED, *set(SIZES).difference(OPTIONAL_SIZES)):
            self.fields[name].required = True

    def clean_wanted_by(self) -> datetime | None:
        wanted_by: datetime | None = self.cleaned_data["wanted_by"]
        if wanted_by is not None and wanted_by <= self.words.now:
            raise forms.ValidationError("This is already past: choose a later time.")
        return wanted_by

    def clean_wished_at(self) -> datetime | None:
        wished_at: datetime | None = self.cleaned_data["wished_at"]
        if wished_at is not None and wished_at <= self.words.now:
            raise forms.ValidationError("This is already past: choose a later time.")
        return wished_at

    @cached_property
    def request(self) -> BookingRequest:
        """What can be read so far; fields with faults are left out.

        Read once, since a fault that a service finds takes its field out of the cleaned data.
        """
        _ = self.errors
        given = dict(self.cleaned_data)
        sizes = self._sizes(given)
        return BookingRequest(
            work=tuple(given.get("work", ())),
            vin=given.get("vin", ""),
            vin_confirmed=given.get("vin_confirmed", False),
            kind_code=given.get("kind_code", ""),
            sizes=sizes,
            label=given.get("label", ""),
            plate=given.get("plate", ""),
            systems=tuple(code for code, there in self.systems_said.items() if there),
            absent_systems=tuple(code for code, there in self.systems_said.items() if not there),
            arrives_at=given.get("arrives_at"),
            wanted_by=given.get("wanted_by"),
            wished_at=given.get("wished_at"),
            ro_number=given.get("ro_number", ""),
            customer_name=given.get("customer_name", ""),
            customer_phone=given.get("customer_phone", ""),
            customer_email=given.get("customer_email", ""),
            notes=given.get("notes", ""),
        )

    def put_beside(self, faults: Iterable[FieldError]) -> None:
        """Put faults found by the service beside their fields."""
        for fault in faults:
            says = f"{fault.says[:1].upper()}{fault.says[1:]}"
            said = f"{says}: {fault.right}." if fault.right else f"{says}."
            name = fault.path.rpartition(".")[2] if "." in fault.path else fault.path
            name = BESIDE.get(name, name)
            field = name if name in self.fields else None
            if said not in self.errors.get(field or "__all__", []):
                self.add_error(field, said)

    def _sizes(self, given: dict[str, Any]) -> Sizes | None:
        """Sizes typed in, None where none are; half a set is a fault beside what is missing."""
        typed = {name: given.get(name, "") for name in SIZES}
        if not any(typed.values()):
            return None
        default = "in" if self.words.units == "us" else "mm"
        read: dict[str, int] = {}
        for name, text in typed.items():
            if not text and name in OPTIONAL_SIZES:
                continue
            try:
                read[name] = round(parse_quantity(text, default).value)
            except ReadingRefused as refused:
                missing = refused.code == "empty"
                self.add_error(
                    name, "Still missing." if missing else f"{refused.says} {refused.right}"
                )
        if set(SIZES) - set(read) - set(OPTIONAL_SIZES):
            return None
        return Sizes(**read)

"""Forms of the visit page."""

from __future__ import annotations

from typing import Any

from django import forms

from jobs.models import Visit
from jobs.pages.disruption_forms import MomentField
from jobs.pages.moments import ShopWords

DETAILS = ("customer_name", "customer_phone", "customer_email", "notes")


class ReasonForm(forms.Form):
    """Why something is done; it is kept in the history."""

    reason = forms.CharField(max_length=200, error_messages={"required": "Write the reason."})

    def __init__(self, *args: Any, asks: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].label = asks


class PlateForm(forms.Form):
    """The VIN as the vehicle itself shows it, asked for while the one booked is in doubt."""

    vin_from_plate = forms.CharField(
        label="VIN on the vehicle",
        max_length=40,
        help_text="Read it from the plate, not from the booking.",
        error_messages={"required": "Read it from the plate and type it."},
    )


class WaitForm(forms.Form):
    """What a step waits for, and when that is expected on the shop's clock."""

    waits_for = forms.CharField(
        label="Waits for",
        max_length=120,
        error_messages={"required": "Write the part or the approval it waits for."},
    )
    expected_at = MomentField(
        label="Expected", error_messages={"required": "Say when it is expected."}
    )

    def __init__(self, *args: Any, words: ShopWords, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["expected_at"]
        assert isinstance(field, MomentField)
        field.words = words


class DetailsForm(forms.Form):
    """What was said on the phone, with the version it was read at."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    customer_name = forms.CharField(
        label="Customer", max_length=120, error_messages={"required": "Enter the customer's name."}
    )
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

    @classmethod
    def of(cls, visit: Visit) -> DetailsForm:
        """The form as the visit is now."""
        initial = {name: getattr(visit, name) for name in DETAILS}
        initial["version"] = visit.version
        return cls(initial=initial)

    def renew(self, visit: Visit) -> None:
        """Keep what was typed, beside the version that is there now: sending again is a choice."""
        self.data = {
            **{name: self.data.get(name, "") for name in DETAILS},
            "version": visit.version,
        }

    def changes(self, visit: Visit) -> dict[str, Any]:
        """Only what differs from the visit."""
        given = {name: self.cleaned_data[name] for name in DETAILS}
        return {name: value for name, value in given.items() if getattr(visit, name) != value}

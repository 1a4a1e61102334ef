"""Forms of the visit page."""

from __future__ import annotations

from typing import Any

from django import forms

from jobs.models import Visit
from jobs.pages.disruption_forms import MomentField
from jobs.pages.moments import ShopWords

DETAILS = ("customer_name", "customer_phone", "customer_email", "notes", "wanted_by")


class ReasonForm(forms.Form):
    """Why something is done; it is kept in the history."""

    reason = forms.CharField(max_length=200, error_messages={"required": "Write the reason."})

    def __init__(self, *args: Any, asks: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].label = asks


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
    wanted_by = MomentField(label="Wanted by", required=False)
    notes = forms.CharField(
        label="Notes", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, words: ShopWords, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["wanted_by"]
        assert isinstance(field, MomentField)
        field.words = words

    @classmethod
    def of(cls, visit: Visit, words: ShopWords) -> DetailsForm:
        """The form as the visit is now."""
        initial = {name: getattr(visit, name) for name in DETAILS}
        initial["wanted_by"] = words.field_value(visit.wanted_by) if visit.wanted_by else ""
        initial["version"] = visit.version
        return cls(initial=initial, words=words)

    def changes(self, visit: Visit) -> dict[str, Any]:
        """Only what differs from the visit."""
        given = {name: self.cleaned_data[name] for name in DETAILS}
        return {name: value for name, value in given.items() if getattr(visit, name) != value}

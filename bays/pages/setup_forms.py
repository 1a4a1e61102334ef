"""What a manager types to set the shop up."""

from __future__ import annotations

from typing import Any

from django import forms

from bays.models import Technician
from bays.pages.moments import MomentField, ShopForm, day_input
from bays.transfer import load_document
from shopcal.errors import Invalid

MOST_BYTES = 4_000_000


class ShopFileForm(ShopForm):
    """A shop file; ``document`` is what it holds, ``faults`` why it could not be read."""

    file = forms.FileField(
        label="Shop file",
        help_text="YAML or JSON, as the export writes it.",
        widget=forms.FileInput(attrs={"accept": ".yaml,.yml,.json"}),
        error_messages={"required": "Choose a file first.", "empty": "This file is empty."},
    )

    def clean_file(self) -> dict[str, Any]:
        given = self.cleaned_data["file"]
        if given.size > MOST_BYTES:
            raise forms.ValidationError("This file is too large: at most 4 MB.")
        try:
            text = given.read().decode("utf-8")
        except UnicodeDecodeError:
            raise forms.ValidationError(
                "This is not a text file: save it as YAML or JSON in UTF-8."
            ) from None
        try:
            return load_document(text)
        except Invalid as refused:
            raise forms.ValidationError([f"This file {e.says}." for e in refused.errors]) from None


class AbsenceForm(ShopForm):
    technician = forms.ModelChoiceField(
        queryset=Technician.objects.none(),
        label="Who is away",
        empty_label="choose",
        error_messages={"required": "Choose who is away."},
    )
    starts_at = MomentField(label="From", error_messages={"required": "Say from when."})
    ends_at = MomentField(label="Until", error_messages={"required": "Say until when."})
    reason = forms.CharField(label="Why", max_length=120, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.choice("technician").queryset = Technician.objects.for_shop(self.shop.pk).filter(
            active=True
        )


class ClosureForm(ShopForm):
    starts_on = forms.DateField(
        label="First day shut",
        widget=day_input(),
        error_messages={"required": "Say from which day."},
    )
    ends_on = forms.DateField(
        label="Last day shut",
        widget=day_input(),
        error_messages={"required": "Say until which day."},
    )
    reason = forms.CharField(
        label="Why", max_length=120, error_messages={"required": "Write why, in a word or two."}
    )

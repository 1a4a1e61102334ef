"""What a person says about a unit: upkeep done, or that it cannot be used."""

from __future__ import annotations

from typing import Any

from django import forms

from bays.models import EquipmentUnit, UpkeepDone, UpkeepRule
from bays.pages.moments import MomentField, ShopForm


class UpkeepForm(ShopForm):
    """Upkeep carried out just now, or at a time named."""

    rule = forms.ModelChoiceField(
        queryset=UpkeepRule.objects.none(),
        label="What was done",
        empty_label=None,
        error_messages={"required": "Choose what was done."},
    )
    result = forms.ChoiceField(
        choices=UpkeepDone.Result.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether it is fit for use."},
    )
    note = forms.CharField(label="Found", required=False, max_length=400)
    done_at = MomentField(label="When", required=False, help_text="Leave empty for now.")

    def __init__(self, *args: Any, unit: EquipmentUnit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.choice("rule").queryset = UpkeepRule.objects.for_shop(self.shop.pk).filter(
            equipment_type_id=unit.type_id
        )


class OutForm(ShopForm):
    """Why a unit cannot be used. ``version`` is the one the page showed."""

    reason = forms.CharField(
        label="What is wrong with it",
        max_length=200,
        error_messages={"required": "Write what is wrong with it."},
    )
    until = MomentField(
        label="Expected back",
        required=False,
        help_text="Leave empty if nobody knows. It stays out until somebody returns it.",
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class BackForm(ShopForm):
    version = forms.IntegerField(widget=forms.HiddenInput)

"""What broke the day: somebody away, a unit out, a piece of floor shut."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms

from bays.models import EquipmentUnit, Resource, ResourceKind, Technician
from jobs.pages.moments import ShopWords


class MomentField(forms.CharField):
    """A date and a time on the shop's wall clock, read into UTC."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput(attrs={"type": "datetime-local"}))
        super().__init__(**kwargs)
        self.words: ShopWords | None = None

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        assert self.words is not None
        try:
            return self.words.parse(text)
        except ValueError:
            raise forms.ValidationError(
                "This is not a date and a time: write it like 2026-03-03T16:00.", code="moment"
            ) from None


class _InShop(forms.Form):
    """A form that knows the shop, its clock and its rows."""

    def __init__(self, *args: Any, shop_id: int, words: ShopWords, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.words = words
        for field in self.fields.values():
            if isinstance(field, MomentField):
                field.words = words
        self.choose(shop_id)

    def choose(self, shop_id: int) -> None:
        raise NotImplementedError


class _Period(_InShop):
    starts_at = MomentField(label="From", error_messages={"required": "Say from when."})
    ends_at = MomentField(label="Until", error_messages={"required": "Say until when."})
    reason = forms.CharField(
        label="Why", max_length=120, error_messages={"required": "Write why, in a word or two."}
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        starts_at: datetime | None = given.get("starts_at")
        ends_at: datetime | None = given.get("ends_at")
        if starts_at and ends_at and ends_at <= starts_at:
            self.add_error("ends_at", "This is not after its beginning: choose a later time.")
        return given


class TechnicianOutForm(_Period):
    technician = forms.ModelChoiceField(
        queryset=Technician.objects.none(),
        label="Who is away",
        empty_label="choose",
        error_messages={"required": "Choose who is away."},
    )
    field_order = ["technician", "starts_at", "ends_at", "reason"]

    def choose(self, shop_id: int) -> None:
        field = self.fields["technician"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Technician.objects.for_shop(shop_id).filter(active=True)


class ZoneClosedForm(_Period):
    zone = forms.ModelChoiceField(
        queryset=Resource.objects.none(),
        label="Which floor",
        empty_label="choose",
        error_messages={"required": "Choose which piece of floor."},
    )
    field_order = ["zone", "starts_at", "ends_at", "reason"]

    def choose(self, shop_id: int) -> None:
        field = self.fields["zone"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Resource.objects.for_shop(shop_id).filter(
            kind=ResourceKind.ZONE, active=True
        )


class UnitOutForm(_InShop):
    unit = forms.ModelChoiceField(
        queryset=EquipmentUnit.objects.none(),
        label="Which unit",
        empty_label="choose",
        error_messages={"required": "Choose which unit."},
    )
    ends_at = MomentField(label="Until", required=False, help_text="Leave empty if nobody knows.")
    reason = forms.CharField(
        label="Why", max_length=200, error_messages={"required": "Write what is wrong with it."}
    )

    def choose(self, shop_id: int) -> None:
        field = self.fields["unit"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = EquipmentUnit.objects.for_shop(shop_id).filter(
            state=EquipmentUnit.State.IN_SERVICE
        )

    def clean_ends_at(self) -> datetime | None:
        ends_at: datetime | None = self.cleaned_data["ends_at"]
        if ends_at is not None and ends_at <= self.words.now:
            raise forms.ValidationError("This is already past: choose a later time.")
        return ends_at

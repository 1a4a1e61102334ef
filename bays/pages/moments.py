"""Dates and times typed on a page: the shop's wall clock, read into UTC."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.utils import timezone

from bays.hours import moment_of
from shopcal.accounts.models import Shop


class MomentField(forms.CharField):
    """A date and a time; ``zone`` is set by the form before anything is read."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput(attrs={"type": "datetime-local"}))
        super().__init__(**kwargs)
        self.zone = ZoneInfo("UTC")

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            wall = datetime.fromisoformat(text.strip())
            return moment_of(wall.date(), wall.time(), self.zone)
        except (ValueError, OverflowError):
            raise forms.ValidationError(
                "This is not a date and a time: write it like 2026-03-03T16:00.", code="moment"
            ) from None


class ShopForm(forms.Form):
    """A form that knows its shop: the clock its times are read by, and whose rows it offers."""

    def __init__(self, *args: Any, shop: Shop, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shop = shop
        for field in self.fields.values():
            if isinstance(field, MomentField):
                field.zone = shop.zone

    def choice(self, name: str) -> forms.ModelChoiceField:
        field = self.fields[name]
        assert isinstance(field, forms.ModelChoiceField)
        return field

    def take(self, refusal_errors: Any) -> None:
        """Put a service's faults beside the fields they are about, the rest on top."""
        for fault in refusal_errors:
            says = fault.says if not fault.right else f"{fault.says}: {fault.right}"
            self.add_error(fault.path if fault.path in self.fields else None, says)


def today_in(shop: Shop) -> date:
    """The calendar day in the shop."""
    return timezone.now().astimezone(shop.zone).date()


def day_input() -> forms.DateInput:
    return forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})

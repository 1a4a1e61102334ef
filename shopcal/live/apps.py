"""Tells open pages what changed."""

from django.apps import AppConfig


class LiveConfig(AppConfig):
    name = "shopcal.live"
    label = "live"
    verbose_name = "Live events"

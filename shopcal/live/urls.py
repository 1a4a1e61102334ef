"""Addresses of what pages ask; all below ``/live/``."""

from django.urls import path

from shopcal.live import pages

app_name = "live"

urlpatterns = [
    path("live/ticket/", pages.ticket, name="ticket"),
    path("live/since/<int:seq>/", pages.since, name="since"),
]

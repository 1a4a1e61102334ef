"""Entry point of the live process: ``uvicorn shopcal.live.asgi:application``."""

from __future__ import annotations

import os

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")
django.setup()

from shopcal.live.app import LiveApp  # noqa: E402 - needs the settings

application = LiveApp()

#!/usr/bin/env python
"""Command line of the service: ``manage.py migrate``, ``manage.py serve`` and the rest."""

import os
import sys

from django.core.management import execute_from_command_line

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")
    execute_from_command_line(sys.argv)

"""Real processes beside the tests."""

from tests.shopcal.machine import machine, migrated_data, server_machine

__all__ = ["machine", "migrated_data", "server_machine"]

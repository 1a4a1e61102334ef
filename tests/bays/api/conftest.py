from tests.jobs.api.conftest import _fresh_allowance, world

__all__ = ["_fresh_allowance", "world"]

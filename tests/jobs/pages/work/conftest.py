"""A pickup booked for its surround view, and the technician's browser."""

from __future__ import annotations

import pytest

from tests.jobs.pages.work.at_vehicle import Job, Page, page_for
from tests.jobs.services.conftest import booked, clock, job

__all__ = ["booked", "clock", "job"]


@pytest.fixture
def osei(job: Job) -> Page:
    """The technician's own browser."""
    return page_for(job, job.technician)

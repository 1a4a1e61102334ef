"""Endpoints of the work on vehicles: booking, the plan, scans, calibrations."""

"""Changes to visits and calibrations: permission, one transaction, one event each."""

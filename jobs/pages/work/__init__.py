"""At the vehicle: what a technician does next, one act at a time."""

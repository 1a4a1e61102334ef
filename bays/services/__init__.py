"""Changes to the physical world: permission, one transaction, one event each."""

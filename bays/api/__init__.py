"""Endpoints of the physical world: floor, equipment, people, hours, holds, shop file."""

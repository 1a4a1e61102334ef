"""Pages for the office and the floor: the day, the floor map, booking, a visit."""

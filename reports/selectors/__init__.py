"""Reads for records and figures; nothing here changes anything."""

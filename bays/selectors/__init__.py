"""Reads of the physical world; nothing here changes anything."""

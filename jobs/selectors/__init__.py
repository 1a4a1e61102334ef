"""Reads of visits, procedures and work; nothing here changes anything."""

"""Rows to the dataclasses of the pure packages, and back."""

"""The invented shop that shows what this is for."""

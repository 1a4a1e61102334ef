"""Changes to people, shops and tokens."""

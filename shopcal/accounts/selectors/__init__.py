"""Questions about people, shops and tokens."""

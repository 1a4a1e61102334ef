"""The issued document of a visit: what it says (pure), how it is laid out, how it is printed."""

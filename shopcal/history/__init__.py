"""What happened: an append-only chain of events per shop. See ``record`` and ``selectors``."""

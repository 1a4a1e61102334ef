"""Machine code that numba kept is thrown away when any of its sources has changed.

Numba looks only at the file a function stands in. A function that calls into another file would
keep the old code of what it calls.
"""

from __future__ import annotations

import hashlib
from contextlib import suppress
from pathlib import Path

STAMP = "machine_code.digest"
KEPT = ("*.nbi", "*.nbc")


def forget_if_changed(folder: Path) -> bool:
    """Remove what numba keeps for the modules of a folder, unless it belongs to these sources.

    Answers whether anything could be stale. A folder that cannot be written to is left alone:
    numba keeps nothing there either.
    """
    sources = sorted(folder.glob("*.py"))
    digest = hashlib.sha256(b"\0".join(source.read_bytes() for source in sources)).hexdigest()
    kept = folder / "__pycache__"
    stamp = kept / STAMP
    with suppress(OSError):
        if stamp.read_text("ascii") == digest:
            return False
    with suppress(OSError):
        kept.mkdir(exist_ok=True)
        for pattern in KEPT:
            for file in kept.glob(pattern):
                file.unlink(missing_ok=True)
        stamp.write_text(digest, "ascii")
    return True

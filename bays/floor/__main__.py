"""``python -m bays.floor CASE.json``: answer one case of the exchange format.

Prints one JSON answer and exits 0. A case that cannot be read is refused on stderr, one line for
each fault with its path, and exit 2.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from bays.floor.exchange import CaseFaults, answer, load


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        prog="python -m bays.floor",
        description="Answers whether a vehicle fits, can be driven in, or stands level.",
    )
    parser.add_argument("case", metavar="CASE.json", type=Path)
    given = parser.parse_args(arguments)
    try:
        case = load(given.case)
    except CaseFaults as faults:
        for fault in faults.errors:
            right = f", {fault.right}" if fault.right else ""
            print(f"{fault.path}: {fault.says}{right}", file=sys.stderr)
        return 2
    print(json.dumps(answer(case)))
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""A shop's setting-up as one document: read, checked, brought in and written out.

Each part of the document is a ``Section``. This app has the sections of the physical world; apps
above it register theirs when they are ready.
"""

from bays.transfer.document import FORMAT, load_document
from bays.transfer.faults import DocumentFaults, Faults
from bays.transfer.sections import Reading, Section, register, sections
from bays.transfer.summary import Counts, ImportSummary, Tally

__all__ = [
    "FORMAT",
    "Counts",
    "DocumentFaults",
    "Faults",
    "ImportSummary",
    "Reading",
    "Section",
    "Tally",
    "load_document",
    "register",
    "sections",
]

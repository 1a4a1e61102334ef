"""Reads a DXF file into plain shapes by layer, in the file's own units.

Model space only. Blocks are taken apart; what lies on layer 0 inside a block is on the layer of
the block. Nothing is straightened or scaled here: arcs stay bulges, see ``bays.transfer.curves``.
"""

from __future__ import annotations

import io
import logging
import math
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, Final

import ezdxf.filemanagement
from ezdxf import recover
from ezdxf.document import Drawing
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.entities.insert import Insert

from bays.transfer.curves import Vertex
from bays.transfer.dxf_entities import Shape, place_of_text, shape_of
from shopcal.errors import Invalid

# It tells of every dictionary that it adds to a file for completeness.
logging.getLogger("ezdxf").setLevel(logging.WARNING)

MOST_BYTES: Final = 8_000_000
MOST_ENTITIES: Final = 20_000
MOST_VERTICES: Final = 60_000
MOST_TEXTS: Final = 2_000
DEEPEST_BLOCK: Final = 8
LONGEST_LAYER: Final = 80
_BINARY: Final = b"AutoCAD Binary DXF\r\n"  # how every binary file begins (DXF reference)

# $INSUNITS, DXF reference: the units a hall may be drawn in, and their millimetres.
UNITS: Final = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 14: 100.0}
UNIT_NAMES: Final = {
    1: "inches", 2: "feet", 4: "millimetres", 5: "centimetres", 6: "metres", 14: "decimetres",
}  # fmt: skip


class DxfRefused(Invalid):
    """The file cannot be read as a drawing; ``title`` says why, ``detail`` what to do."""

    def __init__(self, says: str, right: str = "") -> None:
        super().__init__("dxf_refused", says, detail=right)


@dataclass
class Layer:
    """What lies on one layer. ``rings`` are closed, ``paths`` are not; ``block`` of a shape is the
    number of the block it came out of, so that a door's parts stay together."""

    name: str
    rings: list[Shape] = field(default_factory=list)
    paths: list[Shape] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    left_out: Counter[str] = field(default_factory=Counter)

    def as_values(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "rings": [shape.as_values() for shape in self.rings],
            "paths": [shape.as_values() for shape in self.paths],
            "counts": dict(self.counts),
            "left_out": dict(self.left_out),
        }


@dataclass(frozen=True)
class DxfFile:
    """A file as it was read; ``repairs`` counts what was damaged and put right or dropped."""

    insunits: int
    layers: tuple[Layer, ...]
    texts: tuple[tuple[float, float, str], ...]
    repairs: int

    def as_values(self, file_name: str) -> dict[str, Any]:
        """Plain values to keep until the layers are told apart."""
        return {
            "file": file_name[-LONGEST_LAYER:],
            "insunits": self.insunits,
            "repairs": self.repairs,
            "layers": [layer.as_values() for layer in self.layers],
            "texts": [list(text) for text in self.texts],
        }


def read_dxf(data: bytes) -> DxfFile:
    """Every shape by layer.

    Raises:
        DxfRefused: too large, no DXF file, damaged beyond repair, nothing drawn in it, or more in
            it than a floor plan holds.
    """
    _refuse_at_sight(data)
    try:
        document, repairs = _opened(data)
        entities = list(document.modelspace())
        insunits = int(document.header.get("$INSUNITS", 0) or 0)
    except DxfRefused:
        raise
    except Exception as fault:  # a damaged file fails in the reader in any way there is
        raise DxfRefused(
            "This file is damaged and cannot be read as a DXF file.",
            "Open it where it was drawn and save it again as DXF.",
        ) from fault
    reading = _Reading()
    reading.take(entities)
    if not any(layer.rings or layer.paths for layer in reading.layers.values()):
        raise DxfRefused(
            "There are no lines or shapes in this file.",
            "The floor must be drawn in the model, not only on a sheet for printing.",
        )
    layers = sorted(reading.layers.values(), key=lambda layer: layer.name.lower())
    return DxfFile(insunits, tuple(layers), tuple(reading.texts), repairs)


def _opened(data: bytes) -> tuple[Drawing, int]:
    """The document and how many faults in it were repaired or dropped.

    The binary form has no repairs, and is read from files only.
    """
    if data.startswith(_BINARY):
        with tempfile.NamedTemporaryFile(suffix=".dxf") as file:
            file.write(data)
            file.flush()
            return ezdxf.filemanagement.readfile(file.name), 0
    document, auditor = recover.read(io.BytesIO(data))
    return document, len(auditor.errors) + len(auditor.fixes)


def _refuse_at_sight(data: bytes) -> None:
    if len(data) > MOST_BYTES:
        raise DxfRefused(
            f"This file is too large: at most {MOST_BYTES // 1_000_000} MB.",
            "Save only the layers with walls, columns, doors and bays.",
        )
    if data[:2] == b"AC" and data[2:6].isdigit():
        raise DxfRefused("This is a DWG file.", "Save the drawing as DXF and bring that in.")
    if b"SECTION" not in data[:65_536] or b"ENTITIES" not in data:
        raise DxfRefused("This is not a DXF file.", "Choose a file that was saved as DXF.")


class _Reading:
    """Gathers shapes, and stops a file that unfolds into more than a floor plan holds."""

    def __init__(self) -> None:
        self.layers: dict[str, Layer] = {}
        self.texts: list[tuple[float, float, str]] = []
        self._entities = 0
        self._vertices = 0
        self._blocks = 0

    def take(self, entities: Iterable[DXFEntity]) -> None:
        for entity in entities:
            self._entity(entity, layer="0", block=None, depth=0)

    def _entity(self, entity: DXFEntity, *, layer: str, block: int | None, depth: int) -> None:
        self._entities += 1
        if self._entities > MOST_ENTITIES:
            raise DxfRefused(
                f"There is more in this file than a floor plan holds: over {MOST_ENTITIES} things.",
                "Save only the layers with walls, columns, doors and bays.",
            )
        own = str(entity.dxf.get("layer", "0"))
        named = layer if own == "0" and depth else own
        if isinstance(entity, Insert):
            self._insert(entity, named, block, depth)
            return
        text = place_of_text(entity)
        if text is not None:
            if len(self.texts) < MOST_TEXTS and text[2]:
                self.texts.append(text)
            return
        self._shape(entity, self._layer(named), block)

    def _insert(self, insert: Insert, layer: str, block: int | None, depth: int) -> None:
        if block is None:
            self._layer(layer).counts["inserts"] += 1
            self._blocks += 1
            block = self._blocks
        if depth >= DEEPEST_BLOCK:
            self._layer(layer).left_out["blocks too deep"] += 1
            return
        for attribute in insert.attribs:
            self._entity(attribute, layer=layer, block=block, depth=depth + 1)
        for entity in _inside(insert):
            self._entity(entity, layer=layer, block=block, depth=depth + 1)

    def _shape(self, entity: DXFEntity, layer: Layer, block: int | None) -> None:
        kind = entity.dxftype()
        try:
            shape = shape_of(entity, block)
        except Exception:  # one damaged thing does not keep the others out
            layer.left_out[f"damaged {kind.lower()}"] += 1
            return
        if shape is None or not _is_finite(shape.vertices):
            layer.left_out[kind.lower()] += 1
            return
        self._vertices += len(shape.vertices)
        if self._vertices > MOST_VERTICES:
            raise DxfRefused(
                f"There are more corners in this file than a floor plan holds: over "
                f"{MOST_VERTICES}.",
                "Save only the layers with walls, columns, doors and bays.",
            )
        layer.counts[shape.counted_as] += 1
        (layer.rings if shape.closed else layer.paths).append(shape)

    def _layer(self, name: str) -> Layer:
        name = name[:LONGEST_LAYER]
        return self.layers.setdefault(name.lower(), Layer(name))


def _inside(insert: Insert) -> Iterator[DXFEntity]:
    """What a block holds, where it stands; rows and columns of it one by one."""
    if insert.mcount <= 1:
        yield from insert.virtual_entities()
        return
    yield from insert.multi_insert()


def _is_finite(vertices: Iterable[Vertex]) -> bool:
    return all(math.isfinite(value) for vertex in vertices for value in vertex)

"""Procedure editions from YAML text, one by one or as a set."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Any, Final

import yaml

from jobs.procedures.content import ProcedureContent, ProcedureFaults
from shopcal.errors import FieldError
from shopcal.plain_yaml import PlainLoader

_MOST_CHARACTERS: Final = 200_000


def load_yaml(text: str) -> dict[str, Any]:
    """Return an edition's content from YAML, as JSON can hold it; its meaning is not looked at.

    Raises:
        ProcedureFaults: not YAML, a field twice, an anchor, or no group of fields at the top.
    """
    if len(text) > _MOST_CHARACTERS:
        raise ProcedureFaults([FieldError("", f"longer than {_MOST_CHARACTERS} characters")])
    try:
        content = yaml.load(text, PlainLoader)  # noqa: S506  a SafeLoader
    except (yaml.YAMLError, RecursionError) as fault:
        says = " ".join(str(fault).split())
        raise ProcedureFaults([FieldError("", f"cannot be read as YAML: {says}")]) from fault
    if not isinstance(content, dict):
        raise ProcedureFaults([FieldError("", "must be a group of fields")])
    return content


def read_procedure(text: str) -> ProcedureContent:
    """Read one edition from YAML.

    Raises:
        ProcedureFaults: every fault with its path.
    """
    return ProcedureContent.from_content(load_yaml(text))


def read_set(contents: Mapping[str, Mapping[str, Any]]) -> tuple[ProcedureContent, ...]:
    """Read editions that belong together, by their place (a file's name, say).

    What must come first comes first in the answer.

    Raises:
        ProcedureFaults: every fault of every edition, its path led by its place; codes used
            twice, prerequisites nobody has, prerequisites in a circle.
    """
    faults: list[FieldError] = []
    found: dict[str, tuple[str, ProcedureContent]] = {}
    for place, content in contents.items():
        try:
            edition = ProcedureContent.from_content(content)
        except ProcedureFaults as refused:
            faults += [FieldError(_at(place, e.path), e.says, e.right) for e in refused.errors]
            continue
        if edition.code in found:
            says = f"“{edition.code}” is the code of {found[edition.code][0]} too"
            faults.append(FieldError(_at(place, "code"), says))
        found.setdefault(edition.code, (place, edition))
    if not faults:
        faults += _unknown_codes(found.values())
    if faults:
        raise ProcedureFaults(faults)
    return tuple(found[code][1] for code in _in_order(found))


def read_folder(folder: Path) -> tuple[ProcedureContent, ...]:
    """Read every ``*.yaml`` of a folder as one set.

    Raises:
        ProcedureFaults: as ``read_set``; a file that is not YAML hides the faults of none.
    """
    contents: dict[str, dict[str, Any]] = {}
    faults: list[FieldError] = []
    for path in sorted(folder.glob("*.yaml")):
        try:
            contents[path.name] = load_yaml(path.read_text(encoding="utf-8"))
        except ProcedureFaults as refused:
            faults += [FieldError(_at(path.name, e.path), e.says, e.right) for e in refused.errors]
    try:
        found = read_set(contents)
    except ProcedureFaults as refused:
        faults += refused.errors
    if faults:
        raise ProcedureFaults(faults)
    return found


def _at(place: str, path: str) -> str:
    return f"{place}: {path}" if path else place


def _unknown_codes(found: Iterable[tuple[str, ProcedureContent]]) -> list[FieldError]:
    places = list(found)
    codes = {edition.code for _, edition in places}
    return [
        FieldError(
            _at(place, f"{group}[{index}]"),
            f"“{code}” is no procedure of this set",
            f"Procedures: {', '.join(sorted(codes))}.",
        )
        for place, edition in places
        for group in ("needs_first", "supersedes")
        for index, code in enumerate(getattr(edition, group))
        if code not in codes
    ]


def _in_order(found: Mapping[str, tuple[str, ProcedureContent]]) -> tuple[str, ...]:
    needs = {code: edition.needs_first for code, (_, edition) in found.items()}
    try:
        return tuple(TopologicalSorter(needs).static_order())
    except CycleError as fault:
        circle = " → ".join(reversed(fault.args[1]))
        place = found[fault.args[1][0]][0]
        says = f"runs in a circle: {circle}"
        raise ProcedureFaults([FieldError(_at(place, "needs_first"), says)]) from fault

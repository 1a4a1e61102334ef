"""The shape of a worksheet as JSON Schema, and faults of shape in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import jsonschema
from jsonschema.exceptions import ValidationError

from jobs.metrology.quantities import known_units
from shopcal.errors import FieldError

DRAFT: Final = "https://json-schema.org/draft/2020-12/schema"

_NAME = {
    "type": "string",
    "pattern": "^[a-z][a-z0-9_]{0,59}$",
    "description": "lower-case letters, digits and _, beginning with a letter",
}
_UNIT = {"enum": list(known_units())}
_WORDS = {"type": "string", "minLength": 1, "maxLength": 600}
_AMOUNT = {"type": "number", "minimum": 0}
_LIMIT = {"type": ["number", "null"]}

INSTRUMENT_SCHEMA: Final[dict[str, Any]] = {
    "type": "object",
    "additionalProperties": False,
    "properties": {
        "name": _WORDS,
        "equipment": {"type": "string", "pattern": "^[a-z][a-z0-9_]*$"},
        "class": {"enum": ["I", "II", "III"]},
        "resolution_mm": _AMOUNT,
        "resolution": _AMOUNT,
        "mpe": _AMOUNT,
        "mpe_percent": _AMOUNT,
        "u": _AMOUNT,
    },
}
_INPUT = {
    "type": "object",
    "additionalProperties": False,
    "required": ["name", "unit"],
    "properties": {
        "name": _NAME,
        "label": _WORDS,
        "ask": _WORDS,
        "caution": _WORDS,
        "unit": _UNIT,
        "instrument": INSTRUMENT_SCHEMA,
        "repeats": {"type": "integer", "minimum": 1, "maximum": 20},
        "stage": {"enum": ["measure", "check_set_out"]},
        "plausible": {
            "type": "object",
            "additionalProperties": False,
            "required": ["lower", "upper"],
            "properties": {"lower": {"type": "number"}, "upper": {"type": "number"}},
        },
    },
}
_CONSTANT = {
    "type": "object",
    "additionalProperties": False,
    "required": ["name", "unit", "value"],
    "properties": {
        "name": _NAME,
        "label": _WORDS,
        "unit": _UNIT,
        "value": {"type": "number"},
        "u": _AMOUNT,
    },
}
_COMPUTED = {
    "type": "object",
    "additionalProperties": False,
    "required": ["name", "unit", "expr"],
    "properties": {"name": _NAME, "label": _WORDS, "unit": _UNIT, "expr": _WORDS},
}
_CHECK = {
    "type": "object",
    "additionalProperties": False,
    "required": ["name", "quantity"],
    "properties": {
        "name": _NAME,
        "label": _WORDS,
        "quantity": _NAME,
        "lower": _LIMIT,
        "upper": _LIMIT,
        "remedy": _WORDS,
    },
}
WORKSHEET_PROPERTIES: Final[dict[str, Any]] = {
    "inputs": {"type": "array", "items": _INPUT, "maxItems": 200},
    "constants": {"type": "array", "items": _CONSTANT, "maxItems": 200},
    "computed": {"type": "array", "items": _COMPUTED, "maxItems": 200},
    "checks": {"type": "array", "items": _CHECK, "maxItems": 200},
}
WORKSHEET_SCHEMA: Final[dict[str, Any]] = {
    "$schema": DRAFT,
    "title": "worksheet",
    "type": "object",
    "additionalProperties": False,
    "required": ["inputs"],
    "properties": WORKSHEET_PROPERTIES,
}

_TYPES: Final = {
    "object": "a group of fields",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "nothing",
}
_SAYS: Final = {
    "minimum": "must be {wanted} or more",
    "maximum": "must be {wanted} or less",
    "exclusiveMinimum": "must be more than {wanted}",
    "minItems": "must not be empty",
    "minLength": "must not be empty",
    "minProperties": "must not be empty",
    "maxLength": "must have {wanted} characters or fewer",
    "pattern": "{found!r} is not written as it should be",
}


def shape_faults(schema: Mapping[str, Any], content: object) -> tuple[FieldError, ...]:
    """Return every fault of shape in ``content``, each with its path, in the order of the file."""
    validator = jsonschema.Draft202012Validator(dict(schema))
    found = [fault for error in validator.iter_errors(content) for fault in _told(error)]
    return (*found, *_not_finite(content, ()))


def path_text(parts: Sequence[str | int]) -> str:
    """Write a path as people read it: ``worksheet.inputs[0].unit``."""
    text = ""
    for part in parts:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def _told(error: ValidationError) -> Iterator[FieldError]:
    path = list(error.absolute_path)
    wanted: Any = error.validator_value
    given: Any = error.instance
    if error.validator == "required":
        # One error a missing field, which only its message names.
        for name in wanted:
            if name not in given and f"'{name}'" in str(error.message):
                yield FieldError(path_text([*path, name]), "is missing")
    elif error.validator == "additionalProperties":
        known = error.schema.get("properties", {}) if isinstance(error.schema, Mapping) else {}
        for name in sorted({str(name) for name in given} - set(known)):
            right = f"Fields here: {', '.join(known)}." if known else ""
            yield FieldError(path_text([*path, name]), "is no field here", right)
    else:
        yield FieldError(path_text(path), *_words(error))


def _words(error: ValidationError) -> tuple[str, str]:
    schema = error.schema if isinstance(error.schema, Mapping) else {}
    right = str(schema.get("description", ""))
    wanted: Any = error.validator_value
    if error.validator == "type":
        names = [wanted] if isinstance(wanted, str) else list(wanted)
        return f"must be {' or '.join(_TYPES[name] for name in names)}", right
    if error.validator == "enum":
        choices = ", ".join(str(choice) for choice in wanted)
        return f"{error.instance!r} is not a choice here", f"One of {choices}."
    template = _SAYS.get(str(error.validator), error.message.replace("{", "{{").replace("}", "}}"))
    return template.format(wanted=wanted, found=error.instance), right


def _not_finite(content: object, path: tuple[str | int, ...]) -> Iterator[FieldError]:
    if isinstance(content, float) and not math.isfinite(content):
        yield FieldError(path_text(path), "is not a finite number")
    elif isinstance(content, Mapping):
        for name, value in content.items():
            yield from _not_finite(value, (*path, str(name)))
    elif isinstance(content, list):
        for index, value in enumerate(content):
            yield from _not_finite(value, (*path, index))

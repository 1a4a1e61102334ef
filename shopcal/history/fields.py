"""JSON kept as the very text that was hashed."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from django.db import models

from shopcal.history.chain import canonical

if TYPE_CHECKING:
    from django.db.models.expressions import Combinable

    Field = models.Field[dict[str, Any] | Combinable | None, dict[str, Any] | None]
else:
    Field = models.Field


class CanonicalJSONField(Field):
    """A dictionary stored as canonical JSON text.

    Not the database's own JSON type: PostgreSQL's rewrites numbers (``1e22`` comes back as an
    integer), and a hash over what comes back would no longer match.
    """

    def get_internal_type(self) -> str:
        return "TextField"

    def from_db_value(self, value: str | None, expression: Any, connection: Any) -> Any:
        return None if value is None else json.loads(value)

    def to_python(self, value: Any) -> Any:
        return json.loads(value) if isinstance(value, str) else value

    def get_prep_value(self, value: Any) -> str | None:
        return None if value is None else canonical(value)

    def value_to_string(self, obj: models.Model) -> str:
        return canonical(self.value_from_object(obj))

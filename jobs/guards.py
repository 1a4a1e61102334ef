"""What the database itself refuses in this app: changing a published procedure edition."""

from __future__ import annotations

from shopcal.frozen import frozen

GUARDS = frozen("jobs_procedureedition", "a published procedure edition is never changed")

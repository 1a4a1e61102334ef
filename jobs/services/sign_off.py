"""The technician's word that the work on a vehicle is done."""

from __future__ import annotations

from django.utils import timezone

from jobs.models import Visit
from jobs.services.rows import locked_visit, one_transaction
from jobs.services.visits import ready
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require


@one_transaction
def sign_off(*, by: Actor, visit: Visit, version: int | None = None) -> Visit:
    """Sign the work off and make the visit ready.

    Raises:
        NotAllowed: neither a technician nor a manager. NotFound, Stale.
        Conflict: ``move_refused``, while a calibration is not verified or dealt with, or the
            post-scan is missing, not compared, or holds codes without a word on why.
    """
    require(by, Action.SIGN_OFF)
    found = locked_visit(by, visit, version)
    found.signed_off_by, found.signed_off_at = by.name, timezone.now()
    return ready(by, found, "visit.signed_off", signed_off_by=by.name)

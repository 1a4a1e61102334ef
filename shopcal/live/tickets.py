"""Short-lived signed tickets: who may listen to which shop. The live process has no sessions."""

from __future__ import annotations

import time
from dataclasses import dataclass

from django.core import signing

from shopcal.accounts.actor import Actor
from shopcal.errors import NotAllowed

SALT = "shopcal.live.ticket"
LIVES_SECONDS = 600


@dataclass(frozen=True)
class Ticket:
    shop_id: int
    membership_id: int | None
    seconds_left: float


def issue_ticket(by: Actor, *, lives_seconds: int = LIVES_SECONDS) -> str:
    """A ticket to listen to the actor's shop, safe in a URL.

    Pages renew it while they are open, so one who has left the shop hears hints for ten minutes
    more at most, and never data.
    """
    until = int(time.time()) + lives_seconds
    return signing.Signer(salt=SALT).sign_object([by.shop_id, by.membership_id, until])


def read_ticket(text: str) -> Ticket:
    """The ticket, if it is ours and not too old.

    Raises:
        NotAllowed: ``live_ticket_wrong`` or ``live_ticket_stale``; the page asks for a new one.
    """
    try:
        shop_id, membership_id, until = signing.Signer(salt=SALT).unsign_object(text)
    except (signing.BadSignature, ValueError) as error:
        raise NotAllowed("live_ticket_wrong", "This is no ticket of ours.") from error
    seconds_left = until - time.time()
    if seconds_left <= 0:
        raise NotAllowed("live_ticket_stale", "This ticket is too old: ask for a new one.")
    return Ticket(shop_id, membership_id, seconds_left)

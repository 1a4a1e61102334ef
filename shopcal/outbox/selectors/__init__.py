"""What is owed, what was set aside, and what is late."""

from shopcal.outbox.selectors.messages import (
    claimable_ids,
    dead_messages,
    owed_messages,
    seconds_behind,
)

__all__ = ["claimable_ids", "dead_messages", "owed_messages", "seconds_behind"]

"""Writing what is owed, delivering it, and keeping the clock."""

from shopcal.outbox.services.deliver import Drained, drain, run_message
from shopcal.outbox.services.lease import LeaseLost, renew_lease
from shopcal.outbox.services.mail import Mail, attachment_provider, queue_mail
from shopcal.outbox.services.messages import enqueue, prune_messages, revive_message
from shopcal.outbox.services.timers import fire_due_timers, keep_timers

__all__ = [
    "Drained",
    "LeaseLost",
    "Mail",
    "attachment_provider",
    "drain",
    "enqueue",
    "fire_due_timers",
    "keep_timers",
    "prune_messages",
    "queue_mail",
    "renew_lease",
    "revive_message",
    "run_message",
]

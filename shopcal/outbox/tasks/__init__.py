"""What the outbox itself handles; importing this registers it."""

from shopcal.outbox.tasks import mail, pruning

__all__ = ["mail", "pruning"]

"""What is owed, when the clock owes it next, and which mail has left."""

from shopcal.outbox.models.message import OutboxMessage
from shopcal.outbox.models.sent_mail import SentMail
from shopcal.outbox.models.timer import Timer

__all__ = ["OutboxMessage", "SentMail", "Timer"]

"""What this app does for later; importing this registers it with the outbox."""

from reports.tasks import records, reminders, webhooks

__all__ = ["records", "reminders", "webhooks"]

"""What has been told, as stored."""

from reports.models.record import Record
from reports.models.webhook import WebhookCursor, WebhookEndpoint

__all__ = ["Record", "WebhookCursor", "WebhookEndpoint"]

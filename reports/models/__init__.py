"""What has been told, as stored."""

from reports.models.record import Record
from reports.models.webhook import WebhookEndpoint

__all__ = ["Record", "WebhookEndpoint"]

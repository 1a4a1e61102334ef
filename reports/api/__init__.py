"""Endpoints of this app: records, figures, webhooks."""

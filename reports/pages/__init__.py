"""Pages: records of a visit, the manager's figures, webhooks."""

"""Pages of this app."""

from django.urls import URLPattern, URLResolver, path

from reports.pages.figures import figures
from reports.pages.records import record_pdf, visit_records
from reports.pages.webhooks import remove_webhook, webhooks

urlpatterns: list[URLPattern | URLResolver] = [
    path("figures/", figures, name="figures"),
    path("records/<int:record_id>.pdf", record_pdf, name="record-pdf"),
    path("visits/<int:visit_id>/records/", visit_records, name="visit-records"),
    path("setup/webhooks/", webhooks, name="webhooks"),
    path("setup/webhooks/<int:endpoint_id>/remove/", remove_webhook, name="remove-webhook"),
]

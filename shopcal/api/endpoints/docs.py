"""The description of the API, for programs and, with Swagger UI, for people.

Everything comes from this server, and nothing on the page is inline, so it is read without a way to
the internet and under the same content security policy as every other page.
"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular.views import SpectacularAPIView


class Schema(SpectacularAPIView):
    """OpenAPI 3, as YAML or JSON by the header ``Accept`` or ``?format=``."""


@require_safe
def show_docs(request: HttpRequest) -> HttpResponse:
    return render(request, "api/docs.html")

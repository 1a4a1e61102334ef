"""What each problem code means, as a page for people and as JSON for programs."""

from __future__ import annotations

from dataclasses import asdict

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from shopcal.api.kinds import ProblemKind, every_kind, kind_of


@require_safe
def list_problems(request: HttpRequest) -> HttpResponse:
    return _answer(request, every_kind())


@require_safe
def show_problem(request: HttpRequest, code: str) -> HttpResponse:
    kind = kind_of(code)
    if kind is None:
        raise Http404
    return _answer(request, [kind], one=True)


def _answer(request: HttpRequest, found: list[ProblemKind], *, one: bool = False) -> HttpResponse:
    if request.get_preferred_type(["application/json", "text/html"]) == "text/html":
        response = render(request, "api/problems.html", {"kinds": found, "one": one})
    else:
        rows = [{"type": kind.type, **asdict(kind)} for kind in found]
        response = JsonResponse(rows[0] if one else {"results": rows})
    response["Vary"] = "Accept"
    return response

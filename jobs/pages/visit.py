from __future__ import annotations
from django.http import HttpResponse
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest

@allowed(Action.SEE_VISIT)
def visit(request: MemberRequest, visit_id: int) -> HttpResponse:
    return HttpResponse("x")

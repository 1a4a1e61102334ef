"""So many requests a minute for each token or person, and fewer for strangers' addresses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rest_framework.request import Request
from rest_framework.throttling import SimpleRateThrottle

from shopcal.api.authentication import Bearer

if TYPE_CHECKING:
    # The framework reads this module while it is importing its views.
    from rest_framework.views import APIView


class CallerThrottle(SimpleRateThrottle):
    """Each token has its own allowance, so a runaway program does not hinder its owner's pages."""

    scope = "caller"

    def allow_request(self, request: Request, view: APIView) -> bool:
        self.rate = self.THROTTLE_RATES["caller" if request.user.is_authenticated else "stranger"]
        self.num_requests, self.duration = self.parse_rate(self.rate)
        return super().allow_request(request, view)

    def get_cache_key(self, request: Request, view: APIView) -> str:
        if isinstance(request.auth, Bearer):
            ident = f"token-{request.auth.digest}"
        elif request.user.is_authenticated:
            ident = f"user-{request.user.pk}"
        else:
            ident = f"address-{self.get_ident(request)}"
        return f"api-throttle-{ident}"

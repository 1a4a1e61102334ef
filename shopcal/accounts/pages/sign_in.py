"""Signing in and choosing the shop to act in."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth import REDIRECT_FIELD_NAME, views
from django.contrib.auth.decorators import login_required
from django.contrib.auth.forms import AuthenticationForm
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods
from django.views.decorators.vary import vary_on_headers

from shopcal.accounts.models import Membership, User
from shopcal.accounts.selectors.memberships import SESSION_KEY, memberships_of


class SignInForm(AuthenticationForm):
    """Address and password. The answer to a wrong one does not tell which of the two was wrong."""

    error_messages = {
        "invalid_login": "This address and this password do not go together. Check both.",
        "inactive": "This account is closed. Ask a manager of your shop.",
    }
    username = forms.EmailField(
        label="Email address", max_length=254, error_messages={"required": "Type your address."}
    )
    password = forms.CharField(
        label="Password", strip=False, error_messages={"required": "Type your password."}
    )


@method_decorator(vary_on_headers("Accept"), name="dispatch")
class SignIn(views.LoginView):
    """Leads back to where the person was going, within this site only (``LoginView`` checks it)."""

    template_name = "accounts/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        context["given_name"] = self.request.POST.get("username", "")
        return context


class SignOut(views.LogoutView):
    """By POST only, so that no link on another site can sign anyone out."""

    next_page = "sign-in"
    http_method_names = ["post", "options"]


@login_required
@require_http_methods(["GET", "POST"])
def choose_shop(request: HttpRequest) -> HttpResponse:
    """One button a shop; the choice holds for this browser until sign-out."""
    assert isinstance(request.user, User)
    every = memberships_of(request.user)
    onward = _safe_next(request)
    if request.method == "POST":
        chosen = _chosen(every, request.POST.get("membership", ""))
        if chosen is not None:
            request.session[SESSION_KEY] = chosen.pk
            return HttpResponseRedirect(onward)
    context = {
        "memberships": every,
        "next": onward,
        "refused": request.method == "POST",
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "accounts/choose_shop.html", context, status=status)


def _chosen(every: list[Membership], given: str) -> Membership | None:
    """Only one of the person's own memberships can be chosen, whatever was posted."""
    return next((m for m in every if str(m.pk) == given), None)


def _safe_next(request: HttpRequest) -> str:
    given = request.POST.get(REDIRECT_FIELD_NAME) or request.GET.get(REDIRECT_FIELD_NAME) or "/"
    safe = url_has_allowed_host_and_scheme(
        given, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return given if safe else "/"

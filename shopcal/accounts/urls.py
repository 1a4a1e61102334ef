"""Signing in and out, choosing a shop, one's own API tokens."""

from django.urls import path

from shopcal.accounts.pages import sign_in, tokens

urlpatterns = [
    path("sign-in", sign_in.SignIn.as_view(), name="sign-in"),
    path("sign-out", sign_in.SignOut.as_view(), name="sign-out"),
    path("choose-shop", sign_in.choose_shop, name="choose-shop"),
    path("account/tokens", tokens.tokens, name="my-tokens"),
    path("account/tokens/<int:token_id>/revoke", tokens.revoke, name="revoke-token"),
]

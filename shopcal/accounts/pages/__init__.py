"""Signing in and out, choosing a shop, API tokens; and what guards every page."""

from shopcal.accounts.pages.guards import allowed, member_required

__all__ = ["allowed", "member_required"]

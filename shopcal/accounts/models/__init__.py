"""People, shops, memberships and API tokens, as stored."""

from shopcal.accounts.models.membership import Membership
from shopcal.accounts.models.shop import Shop, Units
from shopcal.accounts.models.token import ApiToken
from shopcal.accounts.models.user import User
from shopcal.accounts.roles import Role

__all__ = ["ApiToken", "Membership", "Role", "Shop", "Units", "User"]

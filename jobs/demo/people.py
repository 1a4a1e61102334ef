"""The people of the invented shop."""

from __future__ import annotations

from dataclasses import dataclass

from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Membership, Shop, User
from shopcal.accounts.services.members import add_member
from shopcal.accounts.services.shops import open_shop

SLUG = "fennhollow"


@dataclass(frozen=True)
class DemoPerson:
    email: str
    name: str
    role: Role


MANAGER = DemoPerson("manager@fennhollow.example", "S. Whitlock", Role.MANAGER)
WRITER = DemoPerson("desk@fennhollow.example", "A. Petrov", Role.SERVICE_WRITER)
TECHNICIAN = DemoPerson("osei@fennhollow.example", "R. Osei", Role.TECHNICIAN)
OTHERS = (
    DemoPerson("lind@fennhollow.example", "M. Lind", Role.TECHNICIAN),
    DemoPerson("varga@fennhollow.example", "J. Varga", Role.TECHNICIAN),
    DemoPerson("okafor@fennhollow.example", "T. Okafor", Role.TECHNICIAN),
)
THREE = (WRITER, TECHNICIAN, MANAGER)


def open_demo_shop(time_zone: str) -> Shop:
    """Make the empty shop with its manager."""
    membership = open_shop(
        slug=SLUG,
        name="Fennhollow Sensor Works",
        manager_email=MANAGER.email,
        manager_name=MANAGER.name,
        time_zone=time_zone,
    )
    return membership.shop


def add_demo_people(shop: Shop) -> None:
    """The desk; the technicians came with the shop file."""
    by = Actor.of(membership_of(shop, MANAGER))
    add_member(email=WRITER.email, name=WRITER.name, role=WRITER.role, by=by)


def membership_of(shop: Shop, person: DemoPerson) -> Membership:
    return Membership.objects.select_related("user").get(shop=shop, user__email=person.email)


def actor_of(shop: Shop, person: DemoPerson) -> Actor:
    return Actor.of(membership_of(shop, person))


def set_password(password: str) -> None:
    """Let the invented people sign in with this password."""
    for person in (MANAGER, WRITER, TECHNICIAN, *OTHERS):
        user = User.objects.get(email=person.email)
        if not user.check_password(password):
            user.set_password(password)
            user.save(update_fields=["password"])

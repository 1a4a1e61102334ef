"""The drawing beside the act: the set-out sheet with tape order and values so far."""

from __future__ import annotations

from collections.abc import Collection

from django.utils.safestring import SafeString

from bays.floor import VehicleShape
from jobs.drawing import SetOutSheet, SetOutVehicle, draw_set_out
from jobs.metrology import Results, Units
from jobs.pages.work.layouts import Scene, lay_out, tape_orders
from jobs.procedures import ProcedureContent


def draw_sheet(
    content: ProcedureContent,
    vehicle: VehicleShape,
    results: Results,
    *,
    checking: bool,
    units: Units,
    done_inputs: Collection[str] = (),
) -> SafeString | None:
    """The set-out sheet of a procedure with these values; None for work without a set-out."""
    if content.clear_zone is None or not content.set_out:
        return None
    orders = orders_of(content)
    scene = Scene(content, vehicle, results, checking, units, orders)
    layout = lay_out(scene)
    open_orders = {orders[i.name] for i in content.worksheet.inputs if i.name not in done_inputs}
    done = {orders[name] for name in done_inputs if name in orders} - open_orders
    across = 2 * scene.tyre_mm
    return draw_set_out(
        SetOutSheet(
            title=f"{content.name}: set-out from above",
            vehicle=SetOutVehicle(
                width_mm=vehicle.width_mm,
                wheelbase_mm=vehicle.wheelbase_mm,
                front_overhang_mm=vehicle.front_overhang_mm,
                rear_overhang_mm=vehicle.rear_overhang_mm,
                track_outer_mm=across,
            ),
            shapes=layout.shapes,
            dimensions=layout.dimensions,
            done_orders=frozenset(done),
            units=units,
        )
    )


def orders_of(content: ProcedureContent) -> dict[str, int]:
    """The tape order of every quantity: of the first step that uses it or what follows from it.

    A quantity no step names belongs to the last step, where the set-out is measured.
    """
    needs = {computed.name: computed.expression.names for computed in content.worksheet.computed}
    last = max((step.order for step in content.set_out), default=1)
    orders: dict[str, int] = {}
    for step in sorted(content.set_out, key=lambda each: each.order):
        for name in _with_causes(step.uses, needs):
            orders.setdefault(name, step.order)
    found = tape_orders(content) | orders
    return {name: found.get(name, last) for name in content.worksheet.names}


def _with_causes(names: Collection[str], needs: dict[str, frozenset[str]]) -> set[str]:
    found: set[str] = set()
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting.extend(needs.get(name, ()))
    return found

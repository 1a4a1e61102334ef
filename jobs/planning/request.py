"""What a service writer asks for on the phone, made into a vehicle the planner can place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from bays import floor
from bays.planner import Operation, Vehicle
from jobs.intake import triggers, vin
from jobs.models import Step
from jobs.models import Vehicle as KnownVehicle
from jobs.models.vehicle import VehicleModel
from jobs.planning.durations import history_of
from jobs.planning.problem import ShopPlan
from jobs.planning.space import LOT, OUTSIDE, Place, clear_zone_of, places_for, shape_of
from jobs.planning.steps import NeededCalibration, StepDraft, draft_steps
from jobs.planning.ways import DEFAULT_TURNING_CIRCLE_MM, turning_faults
from jobs.procedures import WORK_CODES, ProcedureContent
from jobs.selectors.procedures import content_of, current_editions
from jobs.selectors.vehicles import kind_for_vin, kind_of_code, known_vehicle
from shopcal.accounts.models import Shop
from shopcal.errors import FieldError

NEW = "new"


@dataclass(frozen=True)
class Sizes:
    """Outer sizes typed in by hand, millimetres."""

    width_mm: int
    wheelbase_mm: int
    front_overhang_mm: int
    rear_overhang_mm: int
    tyre_track_mm: int | None = None
    turning_circle_mm: int | None = None


@dataclass(frozen=True)
class BookingRequest:
    """Everything said on the phone; only ``work`` and a vehicle are needed for offers."""

    work: tuple[str, ...]
    vin: str = ""
    vin_confirmed: bool = False  # somebody compared it with the plate
    kind_code: str = ""  # the shop's library entry, where the VIN does not find it
    sizes: Sizes | None = None
    label: str = ""
    plate: str = ""
    systems: tuple[str, ...] = ()  # seen on the vehicle
    absent_systems: tuple[str, ...] = ()  # known not to be there
    arrives_at: datetime | None = None
    wanted_by: datetime | None = None
    wished_at: datetime | None = None  # about when the work should begin
    weight: int = 1
    ro_number: str = ""
    customer_name: str = ""
    customer_phone: str = ""
    customer_email: str = ""
    notes: str = ""


@dataclass(frozen=True)
class WantedVehicle:
    """What is known of the vehicle so far."""

    vin: vin.Vin | None
    kind: VehicleModel | None
    known: KnownVehicle | None
    shape: floor.VehicleShape | None
    label: str
    systems: frozenset[str]
    turning_circle_mm: int | None = None  # kerb to kerb; None: the usual one is taken


@dataclass(frozen=True)
class BookingCase:
    """The request resolved; ``faults`` say what is missing or wrong, field by field."""

    request: BookingRequest
    vehicle: WantedVehicle
    needed: tuple[NeededCalibration, ...]
    ask: tuple[str, ...]  # systems somebody must still look for on the vehicle
    steps: tuple[StepDraft, ...]
    faults: tuple[FieldError, ...] = field(default=())

    @property
    def total_minutes(self) -> int:
        return sum(step.minutes for step in self.steps)

    def parts(self) -> tuple[tuple[str, tuple[floor.Part, ...]], ...]:
        """The clear floor of each calibration that needs some, by name."""
        if self.vehicle.shape is None:
            return ()
        return tuple(
            (need.content.name, floor.resolve(clear_zone_of(need.content), self.vehicle.shape))
            for need in self.needed
            if not need.content.road
        )


def resolve_request(shop_id: int, request: BookingRequest) -> BookingCase:
    """Find the vehicle, the calibrations its work makes necessary, and their steps."""
    vehicle, faults = _vehicle(shop_id, request)
    unknown = [code for code in request.work if code not in WORK_CODES]
    if unknown:
        says = f"there is no kind of work called {', '.join(unknown)}"
        faults.append(FieldError("work", says, f"one of {', '.join(WORK_CODES)}"))
    if not request.work:
        faults.append(FieldError("work", "no work is chosen", "choose what was done"))
    needed, ask = _needed(shop_id, request, vehicle)
    if request.work and not unknown and not needed:
        says = "none of the shop's procedures is triggered by this work on this vehicle"
        faults.append(FieldError("work", says, "look at the vehicle's systems, or choose others"))
    return BookingCase(
        request=request,
        vehicle=vehicle,
        needed=needed,
        ask=ask,
        steps=draft_steps(needed, history_of(Shop.objects.get(pk=shop_id))) if needed else (),
        faults=tuple(faults),
    )


def planner_vehicle(
    case: BookingCase, shop_plan: ShopPlan, due: int
) -> tuple[Vehicle, dict[str, Place]]:
    """The request as a vehicle for the planner, with every place it might use."""
    if case.vehicle.shape is None:
        raise ValueError("a vehicle without sizes cannot be placed")
    places: dict[str, Place] = {}
    operations = []
    for step in case.steps:
        own = {LOT: Place(OUTSIDE[LOT])}
        if step.needed is not None:
            own = places_for(
                shop_plan.current,
                case.vehicle.shape,
                step.needed.content,
                case.vehicle.turning_circle_mm or DEFAULT_TURNING_CIRCLE_MM,
            )
        places.update(own)
        operations.append(_operation(step, own, shop_plan.common_types))
    arrives = case.request.arrives_at
    release = shop_plan.clock.up(arrives) if arrives else shop_plan.problem.now
    vehicle = Vehicle(
        id=NEW,
        label=case.request.ro_number or "this vehicle",
        release=max(release, shop_plan.problem.now),
        due=due,
        weight=case.request.weight,
        operations=tuple(operations),
    )
    return vehicle, places


def new_operation_id(order: int) -> str:
    return f"{NEW}:{order}"


def _operation(step: StepDraft, places: Mapping[str, Place], common: frozenset[str]) -> Operation:
    return Operation(
        id=new_operation_id(step.order),
        kind=step.kind,
        minutes=step.minutes,
        skill=step.skill_code or None,
        equipment=tuple(code for code in step.equipment_codes if code not in common),
        placements=tuple(places),
        anywhere=step.kind in (Step.Kind.PRE_SCAN, Step.Kind.POST_SCAN),
        lag=step.lag_minutes,
        second_person_minutes=step.second_person_minutes,
        label=step.label,
        set_up=step.set_up,
        shared_minutes=step.shared_minutes,
    )


def _vehicle(shop_id: int, request: BookingRequest) -> tuple[WantedVehicle, list[FieldError]]:
    checked, faults = _checked_vin(request)
    known = known_vehicle(shop_id, checked.text) if checked else None
    kind = kind_of_code(shop_id, request.kind_code) if request.kind_code else None
    if request.kind_code and kind is None:
        says = f"the shop's library has no vehicle {request.kind_code}"
        faults.append(FieldError("kind_code", says, "choose one from the list, or enter sizes"))
    if kind is None and checked is not None:
        kind = kind_for_vin(shop_id, checked.text)
    shape = _shape(request, known, kind, faults)
    systems = set(request.systems)
    if known is not None:
        systems.update(known.systems)
    if kind is not None:
        systems.update(kind.systems)
    return (
        WantedVehicle(
            vin=checked,
            kind=kind,
            known=known,
            shape=shape,
            label=request.label or (str(known) if known else str(kind) if kind else ""),
            systems=frozenset(systems) - set(request.absent_systems),
            turning_circle_mm=_turning_circle_mm(request, known, kind),
        ),
        faults,
    )


def _checked_vin(request: BookingRequest) -> tuple[vin.Vin | None, list[FieldError]]:
    if not request.vin.strip():
        return None, []
    try:
        return vin.check(request.vin, confirmed=request.vin_confirmed), []
    except vin.VinRefused as refused:
        return None, [FieldError("vin", refused.says, refused.right)]


def _shape(
    request: BookingRequest,
    known: KnownVehicle | None,
    kind: VehicleModel | None,
    faults: list[FieldError],
) -> floor.VehicleShape | None:
    if request.sizes is not None:
        sizes = request.sizes
        try:
            shape = floor.VehicleShape(
                width_mm=sizes.width_mm,
                wheelbase_mm=sizes.wheelbase_mm,
                front_overhang_mm=sizes.front_overhang_mm,
                rear_overhang_mm=sizes.rear_overhang_mm,
                tyre_track_outer_mm=sizes.tyre_track_mm,
            )
        except floor.VehicleFaults as refused:
            faults.extend(replace(e, path=f"sizes.{e.path}") for e in refused.errors)
            return None
        wrong = turning_faults(shape, sizes.turning_circle_mm)
        faults.extend(replace(e, path=f"sizes.{e.path}") for e in wrong)
        return shape
    if known is not None:
        return shape_of(known)
    if kind is not None:
        return shape_of(kind)
    says = "the size of this vehicle is not known, so no floor can be chosen for it"
    faults.append(FieldError("kind_code", says, "choose the kind of vehicle, or enter its sizes"))
    return None


def _turning_circle_mm(
    request: BookingRequest, known: KnownVehicle | None, kind: VehicleModel | None
) -> int | None:
    """As typed in, else what is known of this vehicle, else of its kind."""
    typed = request.sizes.turning_circle_mm if request.sizes else None
    stored = [row.turning_circle_mm for row in (known, kind) if row is not None]
    return next((value for value in (typed, *stored) if value), None)


def _needed(
    shop_id: int, request: BookingRequest, vehicle: WantedVehicle
) -> tuple[tuple[NeededCalibration, ...], tuple[str, ...]]:
    editions = {edition.procedure.code: edition for edition in current_editions(shop_id)}
    contents = {code: content_of(edition) for code, edition in editions.items()}
    needs: Sequence[triggers.Need] = triggers.needed(
        request.work,
        vehicle.systems,
        tuple(
            triggers.ProcedureNeed(
                code=code,
                name=content.name,
                system=content.system,
                triggers=content.triggers,
                needs_first=content.needs_first,
                every_vehicle=content.method == "alignment",
            )
            for code, content in sorted(contents.items(), key=lambda pair: _rank(pair[1]))
        ),
        absent_systems=_absent(request, vehicle, {c.system for c in contents.values()}),
    )
    calibrations = tuple(
        NeededCalibration(
            edition=editions[need.procedure.code],
            content=contents[need.procedure.code],
            reasons=need.reasons,
            work=request.work,
        )
        for need in needs
    )
    return calibrations, tuple(dict.fromkeys(n.procedure.system for n in needs if n.ask))


def _absent(request: BookingRequest, vehicle: WantedVehicle, systems: set[str]) -> frozenset[str]:
    """Systems that need no question: said not to be there, or not in the library's full list."""
    listed = systems - vehicle.systems if vehicle.kind or vehicle.known else set()
    return frozenset({*request.absent_systems, *listed})


def _rank(content: ProcedureContent) -> tuple[bool, bool, str]:
    """Among procedures free of each other: alignment first, road drives last.

    A camera or radar aimed before the wheels are aligned points along the wrong line (common
    practice, no source).
    """
    return (content.method != "alignment", content.road, content.name)

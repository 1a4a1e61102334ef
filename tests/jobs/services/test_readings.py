"""Readings and the units they are read from."""

from __future__ import annotations

import pytest

from bays.models import EquipmentUnit, UnitUse
from jobs.metrology import Verdict
from jobs.models import Attempt, AttemptUnit, Reading
from jobs.selectors.worksheets import worksheet_results
from jobs.services import equipment_used, readings
from jobs.services.overrides import override_guard
from shopcal.errors import Conflict, Invalid, NotAllowed, NotFound, Stale
from shopcal.history.models import Event
from tests.conftest import Person
from tests.jobs.services.at_work import ACROSS, CHECKED, Job

pytestmark = pytest.mark.django_db


@pytest.fixture
def begun(job: Job) -> Job:
    job.check_in()
    job.pre_scan()
    job.prepare()
    return job


def read(job: Job, name: str = "across_rear_tyres", typed: str = "193", **more) -> Reading:
    return readings.record_reading(
        by=job.technician, calibration=job.calibration, name=name, typed=typed, **more
    )


def results(job: Job):
    return worksheet_results(Attempt.objects.get())


@pytest.mark.parametrize(("typed", "mm"), [("193", 1930), ("1.93 m", 1930), ("6 ft 4", 1930.4)])
def test_a_reading_is_kept_as_typed_and_in_millimetres(begun: Job, typed: str, mm: float) -> None:
    begun.use("tape-1")
    reading = read(begun, typed=typed)
    assert (reading.typed, reading.unit) == (typed, "mm")
    assert reading.value == pytest.approx(mm)
    assert reading.instrument.code == "tape-1"


@pytest.mark.parametrize(
    ("given", "path"),
    [
        ({"name": "mood"}, "name"),
        ({"repeat": 0}, "repeat"),
        ({"repeat": 9}, "repeat"),
        ({"typed": "wide"}, "typed"),
        ({"typed": "12 V"}, "typed"),
        ({"typed": "1,234"}, "typed"),  # may be read in two ways
        ({"typed": "1930"}, "typed"),  # 19.3 m: millimetres typed where centimetres are meant
        ({"typed": "1" * 61}, "typed"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_beside_its_field(
    begun: Job, given: dict, path: str
) -> None:
    begun.use("tape-1")
    with pytest.raises(Invalid) as refused:
        read(begun, **given)
    assert refused.value.errors[0].path == path
    assert refused.value.errors[0].right
    assert not Reading.objects.exists()


def test_a_length_names_the_tape_it_was_read_from(begun: Job) -> None:
    with pytest.raises(Invalid) as refused:
        read(begun)
    assert refused.value.errors[0].path == "instrument"
    with pytest.raises(Invalid) as refused:
        read(begun, instrument=begun.unit("mats-a"))
    assert "Floor mat set" in refused.value.errors[0].says
    assert not AttemptUnit.objects.exists()
    read(begun, instrument=begun.unit("tape-3"))
    assert AttemptUnit.objects.get().unit.code == "tape-3"
    assert UnitUse.objects.get().unit.code == "tape-3"


def test_of_two_tapes_in_use_one_must_be_named(begun: Job) -> None:
    begun.use("tape-1")
    begun.use("tape-3")
    with pytest.raises(Invalid) as refused:
        read(begun)
    assert "several" in refused.value.errors[0].says


def test_the_accuracy_class_of_the_tape_used_counts(begun: Job) -> None:
    """OIML R 35-1: class II may be 0.3 + 0.2 x 2 = 0.7 mm out at 1.93 m, class I 0.1 + 0.1 x 2.

    With the resolutions of 1 mm and 0.5 mm, u = sqrt(MPE²/3 + r²/12) as GUM 4.3.7 has it.
    """
    read(begun, instrument=begun.unit("tape-1"))
    coarse = results(begun).values["across_rear_tyres"].standard_uncertainty
    assert coarse == pytest.approx((0.7**2 / 3 + 1 / 12) ** 0.5)
    read(begun, instrument=begun.unit("tape-3"))
    fine = results(begun).values["across_rear_tyres"].standard_uncertainty
    assert fine == pytest.approx((0.3**2 / 3 + 0.25 / 12) ** 0.5)


def test_a_corrected_reading_strikes_the_one_before_and_keeps_it(begun: Job) -> None:
    begun.use("tape-1")
    read(begun, typed="191")
    read(begun, typed="193")
    old, new = Reading.objects.order_by("pk")
    assert old.struck_at is not None
    assert new.struck_at is None
    assert results(begun).values["mark_offset"].value == 170
    told = Event.objects.filter(kind="calibration.read").order_by("seq").last()
    assert (told.before["typed"], told.after["typed"]) == ("191", "193")


def test_a_struck_reading_counts_no_more(begun: Job) -> None:
    begun.use("tape-1")
    reading = read(begun)
    readings.strike_reading(by=begun.technician, reading=reading)
    assert "across_rear_tyres" in results(begun).missing
    with pytest.raises(Conflict) as refused:
        readings.strike_reading(by=begun.technician, reading=reading)
    assert refused.value.code == "struck_already"


def test_readings_are_fixed_once_the_run_has_started(job: Job) -> None:
    job.until_running()
    with pytest.raises(Conflict) as refused:
        read(job)
    assert refused.value.code == "not_now"
    with pytest.raises(Conflict) as refused:
        readings.strike_reading(by=job.technician, reading=Reading.objects.first())
    assert refused.value.code == "not_now"


def test_a_gap_at_the_limit_is_too_close_to_call_and_a_manager_may_decide(job: Job) -> None:
    """1.3 cm from front to rear is the limit (common practice, no source); 13.0 mm is on it."""
    job.until_set_out()
    job.read_all({**CHECKED, "left_gap_front": "18.3 cm", "left_gap_rear": "17.0 cm"})
    judged = results(job).checks["left_parallel"]
    assert judged.verdict is Verdict.TOO_CLOSE
    override_guard(
        by=job.manager, calibration=job.calibration, guard="checks_too_close", reason="seen it"
    )
    job.confirm()
    job.start()
    kept = Attempt.objects.get().evaluation["checks"]["left_parallel"]
    assert kept["verdict"] == "too close to call"


def test_readings_are_the_floors_part_and_this_shops(begun: Job, other_manager: Person) -> None:
    begun.use("tape-1")
    reading = read(begun)
    with pytest.raises(NotAllowed):
        readings.record_reading(by=begun.writer, calibration=begun.calibration, name="x", typed="1")
    with pytest.raises(NotAllowed):
        readings.strike_reading(by=begun.writer, reading=reading)
    with pytest.raises(NotFound):
        readings.record_reading(
            by=other_manager.actor, calibration=begun.calibration, name="x", typed="1"
        )
    with pytest.raises(NotFound):
        readings.strike_reading(by=other_manager.actor, reading=reading)


def test_a_unit_is_used_with_its_serial_and_fitness(begun: Job) -> None:
    begun.use("mats-a")
    begun.use("mats-a")  # a double tap
    row = AttemptUnit.objects.get()
    assert (row.serial, row.fitness) == ("MT-0071", "fit")
    assert "Mat inspection" in row.fitness_says
    assert UnitUse.objects.count() == 1


def test_a_unit_of_a_type_nobody_asks_for_is_refused(begun: Job) -> None:
    with pytest.raises(Invalid) as refused:
        begun.use("frame-1")
    assert refused.value.errors[0].path == "unit"
    assert not AttemptUnit.objects.exists()
    assert not UnitUse.objects.exists()


def test_a_unit_out_of_service_is_refused_and_one_taken_out_later_counts_as_missing(
    begun: Job,
) -> None:
    begun.answer_all()
    begun.use_all()
    EquipmentUnit.objects.filter(code__in=["mats-a", "mats-b"]).update(
        state="out_of_service", state_reason="torn"
    )
    with pytest.raises(Conflict) as refused:
        begun.use("mats-b")
    assert refused.value.code == "out_of_service"
    with pytest.raises(Conflict) as refused:
        begun.set_out()
    assert [u["guard"] for u in refused.value.facts["unmet"]] == ["equipment_missing"]


def test_an_overdue_unit_is_kept_as_overdue_and_stops_the_job_until_another_is_taken(
    begun: Job,
) -> None:
    begun.unit("mats-a").upkeep_done.all().delete()
    begun.answer_all()
    begun.use_all()
    assert AttemptUnit.objects.get(unit__code="mats-a").fitness == "overdue"
    with pytest.raises(Conflict) as refused:
        begun.set_out()
    (unmet,) = refused.value.facts["unmet"]
    assert (unmet["guard"], unmet["can_override"]) == ("equipment_overdue", True)
    begun.use("mats-b")
    equipment_used.put_unit_back(
        by=begun.technician, calibration=begun.calibration, unit=begun.unit("mats-a")
    )
    assert not UnitUse.objects.filter(unit__code="mats-a").exists()
    begun.set_out()


def test_a_unit_with_one_use_left_may_be_used_that_once(begun: Job) -> None:
    rule = begun.unit("mats-a").type.upkeep_rules.get()
    rule.every_uses, rule.warn_uses = 1, 0
    rule.save()
    begun.answer_all()
    begun.use_all()
    begun.set_out()
    assert AttemptUnit.objects.get(unit__code="mats-a").fitness == "fit"


def test_the_tape_read_from_is_not_put_back_while_its_readings_stand(begun: Job) -> None:
    begun.use_all()
    begun.read_all(ACROSS)
    tape = begun.unit("tape-1")
    with pytest.raises(Conflict) as refused:
        equipment_used.put_unit_back(by=begun.technician, calibration=begun.calibration, unit=tape)
    assert refused.value.code == "readings_taken"
    read(begun, instrument=begun.unit("tape-3"))
    equipment_used.put_unit_back(by=begun.technician, calibration=begun.calibration, unit=tape)


def test_equipment_is_taken_before_the_run_by_the_floor_of_this_shop(
    job: Job, other_manager: Person
) -> None:
    with pytest.raises(NotAllowed):
        equipment_used.use_unit(by=job.writer, calibration=job.calibration, unit=job.unit("mats-a"))
    with pytest.raises(NotFound):
        equipment_used.use_unit(
            by=other_manager.actor, calibration=job.calibration, unit=job.unit("mats-a")
        )
    job.until_set_out()
    foreign = job.unit("mats-b")
    EquipmentUnit.objects.filter(pk=foreign.pk).update(shop_id=other_manager.shop_id)
    with pytest.raises(NotFound):
        equipment_used.use_unit(by=job.technician, calibration=job.calibration, unit=foreign)
    job.read_all(CHECKED)
    job.confirm()
    job.start()
    with pytest.raises(Conflict) as refused:
        job.use("scan-2")
    assert refused.value.code == "not_now"


def test_a_reading_on_an_old_version_is_refused(begun: Job) -> None:
    seen = begun.calibration.version
    begun.use("tape-1")
    with pytest.raises(Stale):
        read(begun, version=seen)


def test_taking_another_unit_after_confirming_voids_the_confirmation(job: Job) -> None:
    job.until_ready_to_run()
    job.use("mats-b")
    with pytest.raises(Conflict) as refused:
        job.start()
    assert "area_clear" in {u["guard"] for u in refused.value.facts["unmet"]}

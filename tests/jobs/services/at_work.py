"""The surround-view job as services see it: a booked pickup, the people, and the usual steps.

Readings with a star are the practitioner's (common practice, no source): 193 cm across the rear
tyres, at least 240 cm of mat beyond the vehicle, battery between 11.8 V and 15 V.
"""

from __future__ import annotations

from dataclasses import dataclass

from bays.models import EquipmentUnit
from jobs.models import Calibration, Visit
from jobs.procedures import ProcedureContent
from jobs.selectors.procedures import content_of
from jobs.services import answers, calibrations, equipment_used, readings, scans, visits
from shopcal.accounts.actor import Actor

ACROSS = {"across_rear_tyres": "193 cm"}
CHECKED = {
    "reach_front": "245 cm",
    "reach_rear": "244 cm",
    "left_gap_front": "17.0 cm",
    "left_gap_rear": "17.3 cm",
    "right_gap_front": "17.1 cm",
    "right_gap_rear": "17.0 cm",
}
UNITS = ("mats-a", "tape-1", "scan-1", "support-1")
# Services that answer the procedure's questions, each with an answer it takes.
EVERY_ANSWER = {
    "answer_precondition": {"name": "battery", "typed": "12"},
    "answer_before_run": {"name": "area_clear", "yes": True},
    "answer_during_run": {"name": "area_empty", "yes": True},
    "answer_after_check": {"name": "seams", "yes": True},
}


@dataclass
class Job:
    """One visit with one calibration, worked on by one technician."""

    visit_id: int
    calibration_id: int
    technician: Actor
    writer: Actor
    manager: Actor

    @property
    def visit(self) -> Visit:
        return Visit.objects.select_related("vehicle", "shop").get(pk=self.visit_id)

    @property
    def calibration(self) -> Calibration:
        return Calibration.objects.select_related(
            "step", "edition__procedure", "visit", "shop"
        ).get(pk=self.calibration_id)

    @property
    def content(self) -> ProcedureContent:
        return content_of(self.calibration.edition)

    def unit(self, code: str) -> EquipmentUnit:
        return EquipmentUnit.objects.get(shop_id=self.technician.shop_id, code=code)

    def check_in(self) -> None:
        visits.check_in(by=self.writer, visit=self.visit)

    def pre_scan(self, text: str = "") -> None:
        scans.record_scan(
            by=self.technician, visit=self.visit, kind="pre", text=text, none_found=not text
        )

    def post_scan(self, text: str = "") -> None:
        scans.record_scan(
            by=self.technician, visit=self.visit, kind="post", text=text, none_found=not text
        )

    def prepare(self) -> None:
        calibrations.prepare(by=self.technician, calibration=self.calibration)

    def answer(self, name: str, yes: bool | None = None, typed: str = "") -> None:
        answers.answer_precondition(
            by=self.technician, calibration=self.calibration, name=name, yes=yes, typed=typed
        )

    def answer_all(self, battery: str = "12.4 V") -> None:
        for precondition in self.content.preconditions:
            if precondition.kind == "quantity":
                self.answer(precondition.name, typed=battery)
            else:
                self.answer(precondition.name, yes=True)

    def use(self, code: str) -> None:
        equipment_used.use_unit(
            by=self.technician, calibration=self.calibration, unit=self.unit(code)
        )

    def use_all(self) -> None:
        for code in UNITS:
            self.use(code)

    def read(self, name: str, typed: str) -> None:
        readings.record_reading(
            by=self.technician, calibration=self.calibration, name=name, typed=typed
        )

    def read_all(self, values: dict[str, str]) -> None:
        for name, typed in values.items():
            self.read(name, typed)

    def set_out(self) -> None:
        calibrations.mark_set_out(by=self.technician, calibration=self.calibration)

    def confirm(self) -> None:
        for name in ("cautions_heeded", "area_clear"):
            answers.answer_before_run(
                by=self.technician, calibration=self.calibration, name=name, yes=True
            )

    def start(self) -> None:
        calibrations.start_run(by=self.technician, calibration=self.calibration)

    def during(self) -> None:
        for question in self.content.during_run:
            answers.answer_during_run(
                by=self.technician, calibration=self.calibration, name=question.name, yes=True
            )

    def passes(self) -> None:
        calibrations.record_passed(by=self.technician, calibration=self.calibration)

    def after(self, failing: str = "") -> None:
        for question in self.content.after_checks:
            answers.answer_after_check(
                by=self.technician,
                calibration=self.calibration,
                name=question.name,
                yes=question.name != failing,
            )

    def verify(self) -> None:
        calibrations.verify(by=self.technician, calibration=self.calibration)

    def until_set_out(self) -> None:
        self.check_in()
        self.pre_scan()
        self.prepare()
        self.answer_all()
        self.use_all()
        self.read_all(ACROSS)
        self.set_out()

    def until_ready_to_run(self) -> None:
        self.until_set_out()
        self.read_all(CHECKED)
        self.confirm()

    def until_running(self) -> None:
        self.until_ready_to_run()
        self.start()

    def until_passed(self) -> None:
        self.until_running()
        self.during()
        self.passes()

    def until_verified(self) -> None:
        self.until_passed()
        self.after()
        self.verify()

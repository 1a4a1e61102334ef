"""Technicians, their skills and shifts, and when they are away."""

from __future__ import annotations

from typing import Any

import django_filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays.api.rows import IdField, IdFilter, MomentFilter, named_row
from bays.models import Absence, ShiftPattern, Skill, Technician, TechnicianSkill
from bays.services.people import (
    ShiftWanted,
    SkillWanted,
    add_technician,
    put_skill,
    record_absence,
    set_active,
    set_shifts,
    set_skills,
)
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.versions import versioned
from shopcal.api.views import ListRows, ReadRow, ShopViewSet


class SkillOut(serializers.ModelSerializer[Skill]):
    class Meta:
        model = Skill
        fields = ("id", "code", "name")
        read_only_fields = fields


class SkillIn(serializers.Serializer[Any]):
    code = serializers.CharField(max_length=60)
    name = serializers.CharField(max_length=120)


class Skills(ListRows, ReadRow, ShopViewSet):
    """What technicians are qualified for; procedures ask for them by code."""

    queryset = Skill.objects.all()
    serializer_class = SkillOut
    ordering = ("code", "id")
    detail_route = "api:skill-detail"
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "create": Action.EDIT_PEOPLE,
    }

    @extend_schema(request=SkillIn, responses={201: SkillOut})
    @idempotent
    def create(self, request: Request) -> Response:
        """Add a skill, or rename the one with this code."""
        return self.created(put_skill(**self.read(SkillIn), by=self.actor).row)


class HeldSkillOut(serializers.ModelSerializer[TechnicianSkill]):
    skill = serializers.CharField(source="skill.code")

    class Meta:
        model = TechnicianSkill
        fields = ("skill", "valid_from", "valid_until")
        read_only_fields = fields


class ShiftOut(serializers.ModelSerializer[ShiftPattern]):
    weekday = serializers.IntegerField(help_text="0 is Monday.")

    class Meta:
        model = ShiftPattern
        fields = (
            "weekday", "starts", "ends", "lunch_starts", "lunch_ends", "valid_from", "valid_until",
        )  # fmt: skip
        read_only_fields = fields


class TechnicianOut(serializers.ModelSerializer[Technician]):
    skills = HeldSkillOut(many=True)
    shifts = ShiftOut(many=True)

    class Meta:
        model = Technician
        fields = ("id", "code", "name", "active", "skills", "shifts", "version")
        read_only_fields = fields


class TechnicianIn(serializers.Serializer[Any]):
    code = serializers.CharField(max_length=60)
    name = serializers.CharField(max_length=120)


class TechnicianChangeIn(serializers.Serializer[Any]):
    active = serializers.BooleanField(help_text="False takes them out of planning.")


class HeldSkillIn(serializers.Serializer[Any]):
    skill = serializers.CharField(max_length=60, help_text="The code of the skill.")
    valid_from = serializers.DateField(required=False, allow_null=True, default=None)
    valid_until = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="The last day it counts."
    )


class SkillsIn(serializers.Serializer[Any]):
    skills = HeldSkillIn(many=True)


class ShiftIn(serializers.Serializer[Any]):
    weekday = serializers.IntegerField(min_value=0, max_value=6, help_text="0 is Monday.")
    starts = serializers.TimeField(help_text="On the shop's clock.")
    ends = serializers.TimeField()
    lunch_starts = serializers.TimeField(required=False, allow_null=True, default=None)
    lunch_ends = serializers.TimeField(required=False, allow_null=True, default=None)
    valid_from = serializers.DateField(required=False, allow_null=True, default=None)
    valid_until = serializers.DateField(required=False, allow_null=True, default=None)


class ShiftsIn(serializers.Serializer[Any]):
    shifts = ShiftIn(many=True)


class TechnicianFilter(django_filters.FilterSet):
    skill = django_filters.CharFilter(field_name="skills__skill__code")

    class Meta:
        model = Technician
        fields = ("active", "code", "skill")


class Technicians(ListRows, ReadRow, ShopViewSet):
    """People who work on vehicles."""

    queryset = Technician.objects.prefetch_related("skills__skill", "shifts")
    serializer_class = TechnicianOut
    filterset_class = TechnicianFilter
    ordering = ("code", "id")
    detail_route = "api:technician-detail"
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "create": Action.EDIT_PEOPLE,
        "partial_update": Action.EDIT_PEOPLE,
        "skills": Action.EDIT_PEOPLE,
        "shifts": Action.EDIT_PEOPLE,
    }

    def _fresh(self, technician: Technician) -> Technician:
        fresh: Technician = self.get_queryset().get(pk=technician.pk)
        return fresh

    @extend_schema(request=TechnicianIn, responses={201: TechnicianOut})
    @idempotent
    def create(self, request: Request) -> Response:
        made = add_technician(**self.read(TechnicianIn), by=self.actor)
        return self.created(self._fresh(made))

    @extend_schema(request=TechnicianChangeIn, responses=TechnicianOut)
    @versioned
    def partial_update(self, request: Request, person: Technician, version: int) -> Response:
        """Take them out of planning, or back in; what is booked with them stays booked."""
        given = self.read(TechnicianChangeIn)
        set_active(technician=person, version=version, **given, by=self.actor)
        return self.shown(self._fresh(person))

    @extend_schema(request=SkillsIn, responses=TechnicianOut)
    @action(detail=True, methods=["put"])
    @versioned
    def skills(self, request: Request, person: Technician, version: int) -> Response:
        """Set all skills, in place of those they had."""
        wanted = [SkillWanted(**row) for row in self.read(SkillsIn)["skills"]]
        set_skills(technician=person, skills=wanted, version=version, by=self.actor)
        return self.shown(self._fresh(person))

    @extend_schema(request=ShiftsIn, responses=TechnicianOut)
    @action(detail=True, methods=["put"])
    @versioned
    def shifts(self, request: Request, person: Technician, version: int) -> Response:
        """Set the whole week, in place of the one they had."""
        wanted = [ShiftWanted(**row) for row in self.read(ShiftsIn)["shifts"]]
        set_shifts(technician=person, shifts=wanted, version=version, by=self.actor)
        return self.shown(self._fresh(person))


class AbsenceOut(serializers.ModelSerializer[Absence]):
    technician = serializers.IntegerField(source="technician_id")

    class Meta:
        model = Absence
        fields = ("id", "technician", "starts_at", "ends_at", "reason")
        read_only_fields = fields


class AbsenceIn(serializers.Serializer[Any]):
    technician = IdField()
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    reason = serializers.CharField(max_length=120, required=False, allow_blank=True, default="")


class AbsenceFilter(django_filters.FilterSet):
    technician = IdFilter(field_name="technician_id")
    ends_after = MomentFilter(field_name="ends_at", lookup_expr="gt")
    starts_before = MomentFilter(field_name="starts_at", lookup_expr="lt")

    class Meta:
        model = Absence
        fields = ("technician", "ends_after", "starts_before")


class Absences(ListRows, ReadRow, ShopViewSet):
    """Times technicians are away. `plan/technician-out/` records one and repairs the plan."""

    queryset = Absence.objects.all()
    serializer_class = AbsenceOut
    filterset_class = AbsenceFilter
    ordering = ("-starts_at", "-id")
    detail_route = "api:absence-detail"
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "create": Action.REPLAN,
    }

    @extend_schema(request=AbsenceIn, responses={201: AbsenceOut})
    @idempotent
    def create(self, request: Request) -> Response:
        given = self.read(AbsenceIn)
        people = Technician.objects.for_shop(self.actor.shop_id)
        given["technician"] = named_row(people, "technician", pk=given["technician"])
        return self.created(record_absence(**given, by=self.actor))

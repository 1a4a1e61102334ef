"""Every way to be refused has the same shape (RFC 9457)."""

from __future__ import annotations

import sqlite3

import psycopg
import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, OperationalError
from django.db.models import ProtectedError
from django.http import Http404
from rest_framework import exceptions

from shopcal.api import kinds
from shopcal.api.problems import faults_in, problem_for
from shopcal.errors import Conflict, FieldError, Invalid, NotAllowed, NotFound, Refusal, Stale
from tests.shopcal.api.refusal import problem_in


def caused_by(error: Exception, cause: Exception, **attributes: str) -> Exception:
    """What Django raises for an error of the driver."""
    for name, value in attributes.items():
        setattr(cause, name, value)
    error.__cause__ = cause
    return error


@pytest.mark.parametrize(
    ("refusal", "status"),
    [
        (Refusal("some", "Some."), 409),
        (NotAllowed("some", "Some."), 403),
        (NotFound("some", "Some."), 404),
        (Invalid("some", "Some."), 422),
        (Conflict("some", "Some."), 409),
        (Stale("some", "Some."), 412),
        (Refusal("some", "Some.", status=428), 428),
    ],
)
def test_refusal_keeps_its_code_and_status(refusal, status):
    problem = problem_for(refusal)
    assert (problem.code, problem.title, problem.status) == ("some", "Some.", status)


@pytest.mark.parametrize(
    ("raised", "status", "code"),
    [
        (exceptions.ValidationError({"name": ["No."]}), 422, "invalid"),
        (exceptions.ParseError(), 400, "unreadable"),
        (exceptions.NotAuthenticated(), 401, "not_signed_in"),
        (exceptions.AuthenticationFailed(), 401, "token_refused"),
        (exceptions.PermissionDenied(), 403, "not_allowed"),
        (exceptions.NotFound(), 404, "missing"),
        (exceptions.MethodNotAllowed("PUT"), 405, "wrong_method"),
        (exceptions.NotAcceptable(), 406, "not_acceptable"),
        (exceptions.UnsupportedMediaType("text/plain"), 415, "wrong_format"),
        (exceptions.Throttled(wait=7), 429, "too_many_requests"),
        (exceptions.APIException("Odd."), 500, "refused"),
        (Http404(), 404, "missing"),
        (PermissionDenied(), 403, "not_allowed"),
        (ValidationError("No."), 422, "invalid"),
        (ProtectedError("Kept.", set()), 409, "in_the_way"),
        (RuntimeError("ours"), 500, "unexpected"),
    ],
)
def test_exceptions_of_the_frameworks_become_problems(raised, status, code):
    problem = problem_for(raised)
    assert (problem.status, problem.code) == (status, code)


# SQLSTATEs: https://www.postgresql.org/docs/15/errcodes-appendix.html
# SQLite: https://www.sqlite.org/rescode.html
@pytest.mark.parametrize(
    ("raised", "status"),
    [
        (caused_by(OperationalError(), psycopg.errors.LockNotAvailable()), 503),  # 55P03
        (caused_by(OperationalError(), psycopg.errors.DeadlockDetected()), 503),  # 40P01
        (caused_by(OperationalError(), psycopg.errors.SerializationFailure()), 503),  # 40001
        (caused_by(OperationalError(), psycopg.errors.QueryCanceled()), 503),  # 57014
        (caused_by(OperationalError(), psycopg.errors.TooManyConnections()), 503),  # 53300
        (caused_by(OperationalError(), psycopg.errors.ConnectionFailure()), 503),  # 08006
        (caused_by(OperationalError(), psycopg.OperationalError("refused")), 503),
        (caused_by(OperationalError(), psycopg.errors.DiskFull()), 500),  # 53100
        (caused_by(IntegrityError(), psycopg.errors.UniqueViolation()), 409),  # 23505
        (caused_by(IntegrityError(), psycopg.errors.ExclusionViolation()), 409),  # 23P01
        (caused_by(IntegrityError(), psycopg.errors.NotNullViolation()), 500),  # 23502
    ],
)
def test_database_that_has_no_time_is_told_from_one_that_is_broken(raised, status):
    problem = problem_for(raised)
    assert problem.status == status
    assert ("Retry-After" in problem.headers) == (status == 503)


def test_sqlite_that_is_locked_by_another_writer_is_busy(tmp_path):
    first = sqlite3.connect(tmp_path / "one", isolation_level=None)
    second = sqlite3.connect(tmp_path / "one", isolation_level=None, timeout=0)
    first.execute("BEGIN IMMEDIATE")
    with pytest.raises(sqlite3.OperationalError) as locked:
        second.execute("BEGIN IMMEDIATE")
    assert problem_for(caused_by(OperationalError(), locked.value)).code == "busy"
    with pytest.raises(sqlite3.OperationalError) as mistake:
        second.execute("SELECT nothing FROM nowhere")
    assert problem_for(caused_by(OperationalError(), mistake.value)).code == "unexpected"


def test_sqlite_clash_is_told_from_a_wrong_row():
    database = sqlite3.connect(":memory:")
    database.execute("CREATE TABLE one (name TEXT NOT NULL UNIQUE)")
    database.execute("INSERT INTO one VALUES ('a')")
    with pytest.raises(sqlite3.IntegrityError) as clash:
        database.execute("INSERT INTO one VALUES ('a')")
    assert problem_for(caused_by(IntegrityError(), clash.value)).code == "in_the_way"
    with pytest.raises(sqlite3.IntegrityError) as null:
        database.execute("INSERT INTO one VALUES (NULL)")
    assert problem_for(caused_by(IntegrityError(), null.value)).code == "unexpected"


def test_faults_of_nested_content_have_paths():
    detail = exceptions.ValidationError(
        {
            "name": ["Too long.", "Not plain."],
            "zones": [{}, {"polygon": [["Not a number."], []], "non_field_errors": ["Overlaps."]}],
            "hours": {2: {"opens": ["Not a time."]}},
            "non_field_errors": ["Ends before it starts."],
        }
    ).detail
    assert {(fault.path, fault.says) for fault in faults_in(detail)} == {
        ("name", "Too long."),
        ("name", "Not plain."),
        ("zones[1].polygon[0]", "Not a number."),
        ("zones[1]", "Overlaps."),
        ("hours[2].opens", "Not a time."),
        ("", "Ends before it starts."),
    }


def test_model_validation_has_paths():
    problem = problem_for(ValidationError({"name": ["Too long."], "__all__": ["Odd."]}))
    assert set(problem.errors) == {FieldError("name", "Too long."), FieldError("", "Odd.")}


def test_refusal_of_a_service_is_answered_with_its_fact(as_manager):
    problem = problem_in(as_manager.get("/api/v1/refusing/?clash"), 409, "no_room")
    assert problem["detail"] == "Bay 2 is short by 140 mm."
    assert problem["facts"] == {"short_mm": 140}
    assert problem["instance"] == "/api/v1/refusing/"


def test_faults_found_by_a_service_are_answered_with_what_would_be_right(as_manager):
    problem = problem_in(as_manager.get("/api/v1/refusing/"), 422, "plan_faults")
    assert problem["errors"] == [
        {"path": "zones[2].polygon", "says": "It crosses itself.", "right": "a simple polygon"}
    ]


def test_mistake_of_ours_is_a_problem_too_and_tells_nothing_inside(as_manager):
    as_manager.raise_request_exception = False
    response = as_manager.get("/api/v1/refusing/?broken")
    problem_in(response, 500, "unexpected")
    assert "a mistake of ours" not in response.text


def test_mistake_of_ours_is_noticed_by_error_reporting(as_manager):
    with pytest.raises(RuntimeError, match="a mistake of ours"):
        as_manager.get("/api/v1/refusing/?broken")


def test_missing_and_wrong_fields_are_answered_together(as_manager):
    response = as_manager.post(
        "/api/v1/members/",
        {"people": [{"name": "Ada Finch", "email": "ada@example.test"}, {"email": "no"}]},
        content_type="application/json",
    )
    problem = problem_in(response, 422, "invalid")
    assert {error["path"] for error in problem["errors"]} == {"people[1].name", "people[1].email"}
    missing = next(error for error in problem["errors"] if error["path"] == "people[1].name")
    assert missing["right"] == "Give this field."


@pytest.mark.parametrize(
    ("content", "kind", "status", "code"),
    [
        ("{", "application/json", 400, "unreadable"),
        ("[1]", "application/json", 422, "invalid"),
        ("name=x", "text/plain", 415, "wrong_format"),
    ],
)
def test_unreadable_content_is_refused(as_manager, content, kind, status, code):
    problem_in(as_manager.post("/api/v1/members/", content, content_type=kind), status, code)


def test_format_that_is_not_offered_is_refused(as_manager):
    response = as_manager.get("/api/v1/me/", headers={"Accept": "image/png"})
    problem_in(response, 406, "not_acceptable")


def test_every_described_code_has_a_page_for_people_and_for_programs(stranger):
    listed = stranger.get("/api/problems/").json()["results"]
    assert {"invalid", "changed_meanwhile", "busy"} <= {row["code"] for row in listed}
    for row in listed:
        assert stranger.get(row["type"]).json() == row
    page = stranger.get("/api/problems/busy", headers={"Accept": "text/html,*/*;q=0.8"})
    assert page["Content-Type"].startswith("text/html")
    assert "The service is busy." in page.text


def test_code_that_nobody_described_has_no_page(stranger):
    stranger.raise_request_exception = False
    assert stranger.get("/api/problems/never_heard_of").status_code == 404


def test_code_is_not_described_in_two_ways():
    kinds.describe("busy", kinds.BUSY.status, kinds.BUSY.title, kinds.BUSY.says)
    with pytest.raises(ValueError, match="otherwise"):
        kinds.describe("busy", 503, "Busy.", "Something else.")

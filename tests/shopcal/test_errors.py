"""Refusals carry a stable code, a status and the facts."""

import pytest

from shopcal.errors import Conflict, FieldError, Invalid, NotAllowed, NotFound, Refusal, Stale


@pytest.mark.parametrize(
    ("kind", "status"),
    [
        (Refusal, 409),
        (NotAllowed, 403),
        (NotFound, 404),
        (Invalid, 422),
        (Conflict, 409),
        (Stale, 412),
    ],
)
def test_each_kind_has_its_status(kind: type[Refusal], status: int) -> None:
    refusal = kind("some_code", "Not done.")
    assert (refusal.code, refusal.title, refusal.status) == ("some_code", "Not done.", status)


def test_a_refusal_may_name_another_status() -> None:
    assert Refusal("gone", "It is gone.", status=410).status == 410


def test_faults_and_facts_cannot_be_changed_afterwards() -> None:
    facts = {"frees_at": "11:15"}
    refusal = Invalid("x", "No.", errors=[FieldError("name", "Empty.")], facts=facts)
    facts["frees_at"] = "12:00"
    assert refusal.facts["frees_at"] == "11:15"
    assert refusal.errors == (FieldError("name", "Empty.", ""),)
    with pytest.raises(TypeError):
        refusal.facts["frees_at"] = "12:00"


def test_a_refusal_reads_as_words() -> None:
    refusal = Invalid(
        "x", "Not saved.", detail="Two faults.", errors=[FieldError("name", "Empty.")]
    )
    assert str(refusal) == "Not saved. Two faults. name: Empty."

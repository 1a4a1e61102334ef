"""Kept machine code goes when a source it may contain has changed."""

from __future__ import annotations

from pathlib import Path

from bays.machine_code import forget_if_changed


def folder_with_kept_code(tmp_path: Path) -> Path:
    (tmp_path / "one.py").write_text("one = 1\n")
    kept = tmp_path / "__pycache__"
    kept.mkdir()
    forget_if_changed(tmp_path)
    (kept / "one.f-1.py311.nbi").write_bytes(b"index")
    (kept / "one.f-1.py311.1.nbc").write_bytes(b"code")
    return tmp_path


def test_code_of_unchanged_sources_stays(tmp_path: Path) -> None:
    folder = folder_with_kept_code(tmp_path)
    assert not forget_if_changed(folder)
    assert len(list((folder / "__pycache__").glob("*.nb?"))) == 2


def test_code_goes_when_another_file_of_the_folder_changes(tmp_path: Path) -> None:
    folder = folder_with_kept_code(tmp_path)
    (folder / "two.py").write_text("two = 2\n")
    assert forget_if_changed(folder)
    assert list((folder / "__pycache__").glob("*.nb?")) == []


def test_a_folder_that_cannot_be_written_is_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "gone"
    folder.mkdir()
    (folder / "__pycache__").write_text("a file where the folder should be")
    assert forget_if_changed(folder)

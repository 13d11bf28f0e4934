from __future__ import annotations

from pathlib import Path

import pytest

from harness.plan.document import Files
from harness.rig.originals import FileTrouble, Originals
from harness.rig.title_files import TitleFiles, digest, settings_files


def of(folder: Path, files: Files | None) -> TitleFiles:
    return TitleFiles(
        files,
        folder=folder,
        values={"preset": "high"},
        originals=Originals(folder / "rig"),
        owner="run-1-a-001",
    )


def test_a_hash_is_the_one_of_the_standard(tmp_path: Path) -> None:
    """SHA-256 of "abc": FIPS 180-2, appendix B.1."""
    (tmp_path / "abc").write_text("abc")
    assert digest(tmp_path / "abc") == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )


def test_a_place_is_filled_in_and_the_file_given_back(tmp_path: Path) -> None:
    (tmp_path / "high.ini").write_text("high")
    (tmp_path / "quay.ini").write_text("own")
    files = of(tmp_path, Files(put=(("{preset}.ini", "quay.ini"),)))
    files.put()
    assert (tmp_path / "quay.ini").read_text() == "high"
    assert files.give_back().unpaid == ()
    assert (tmp_path / "quay.ini").read_text() == "own"


def test_a_watched_file_that_changes_or_goes_is_named(tmp_path: Path) -> None:
    for name in ("a.ini", "b.ini", "c.ini"):
        (tmp_path / name).write_text(name)
    files = of(tmp_path, Files(watch=("a.ini", "b.ini", "c.ini")))
    files.look()
    assert files.changed() == ()
    (tmp_path / "a.ini").write_text("other")
    (tmp_path / "b.ini").unlink()
    changed, gone = files.changed()
    assert changed.startswith(f"{tmp_path}/a.ini changed (sha256 was ")
    assert gone == f"{tmp_path}/b.ini is gone"


def test_a_watched_file_that_is_not_there_is_an_error_and_no_empty_one(tmp_path: Path) -> None:
    with pytest.raises(FileTrouble, match=r"quay\.ini is to be watched and is not there"):
        of(tmp_path, Files(watch=("quay.ini",))).look()


def test_a_title_without_files_has_nothing_to_do(tmp_path: Path) -> None:
    files = of(tmp_path, None)
    files.put()
    files.look()
    assert (files.changed(), files.give_back().given_back) == ((), ())
    assert not (tmp_path / "rig").exists()


def test_settings_come_from_what_is_put_and_from_what_is_only_watched(tmp_path: Path) -> None:
    for name in ("lab-low.ini", "lab-high.ini", "own.ini", "quay.ini"):
        (tmp_path / name).write_text(name)
    files = Files(put=(("lab-{preset}.ini", "quay.ini"),), watch=("quay.ini", "own.ini"))
    names = [name for name, _ in settings_files(files, folder=tmp_path)]
    assert names == ["lab-high.ini", "lab-low.ini", "own.ini"]
    assert settings_files(None, folder=tmp_path) == ()

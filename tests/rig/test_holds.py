from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import RigError
from harness.rig.holds import Holds
from harness.rig.tasks import Hold, Release


def _hold(id_: str = "h1", at: str = "2026-03-02T21:00:00+00:00") -> Hold:
    return Hold(id=id_, run="r1", reason="gpu.temperature was 96 °C", do="let it cool", at=at)


def _release(id_: str = "h1") -> Release:
    return Release(hold=id_, by="Ines", note="fan freed", at="2026-03-02T22:00:00+00:00")


def test_a_hold_stands_for_whoever_looks_next(tmp_path: Path) -> None:
    Holds(tmp_path).hold(_hold())
    assert Holds(tmp_path).standing() == (_hold(),)


def test_a_release_lifts_its_hold_and_no_other(tmp_path: Path) -> None:
    holds = Holds(tmp_path)
    holds.hold(_hold("h1"))
    holds.hold(_hold("h2", at="2026-03-02T21:30:00+00:00"))
    holds.release(_release("h1"))
    assert [hold.id for hold in holds.standing()] == ["h2"]
    assert holds.releases() == (_release("h1"),)


def test_the_first_of_two_holds_under_one_id_stays_as_it_was(tmp_path: Path) -> None:
    holds = Holds(tmp_path)
    holds.hold(_hold(at="2026-03-02T21:00:00+00:00"))
    holds.hold(_hold(at="2026-03-03T09:00:00+00:00"))
    assert holds.standing() == (_hold(at="2026-03-02T21:00:00+00:00"),)


@given(id_=st.text(min_size=1, max_size=200).filter(lambda text: text.isprintable()))
def test_any_id_can_be_held_and_released(
    tmp_path_factory: pytest.TempPathFactory, id_: str
) -> None:
    holds = Holds(tmp_path_factory.mktemp("rig"))
    holds.hold(_hold(id_))
    assert [hold.id for hold in holds.standing()] == [id_]
    holds.release(_release(id_))
    assert holds.standing() == ()


@pytest.mark.parametrize("damage", [b"", b"{", b"[]", b'{"id": 1}', b'{"id": "h1"}', b"\xff"])
def test_a_hold_whose_file_is_damaged_still_holds(tmp_path: Path, damage: bytes) -> None:
    holds = Holds(tmp_path)
    holds.hold(_hold())
    (tmp_path / "holds" / "h1.json").write_bytes(damage)
    (hold,) = holds.standing()
    assert hold.id == "h1"
    assert "cannot be read" in hold.reason


def test_a_damaged_hold_can_be_released(tmp_path: Path) -> None:
    holds = Holds(tmp_path)
    holds.hold(_hold())
    (tmp_path / "holds" / "h1.json").write_bytes(b"{")
    holds.release(_release())
    assert holds.standing() == ()


def test_a_release_whose_file_is_damaged_lifts_nothing(tmp_path: Path) -> None:
    holds = Holds(tmp_path)
    holds.hold(_hold())
    holds.release(_release())
    (tmp_path / "releases" / "h1.json").write_bytes(b"{")
    assert holds.standing() == (_hold(),)


def test_a_hold_is_synced_before_its_name_is_given(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    real_fsync = os.fsync

    def fsync(descriptor: int) -> None:
        names = {path.name for path in (tmp_path / "holds").glob("*.json")}
        done.append("named" if names else "unnamed")
        real_fsync(descriptor)

    monkeypatch.setattr(os, "fsync", fsync)
    Holds(tmp_path).hold(_hold())
    assert done == ["unnamed", "named", "named"]


def test_a_folder_that_cannot_be_written_to_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "holds").write_text("a file, not a folder")
    with pytest.raises(RigError, match="rig-folder"):
        Holds(tmp_path).hold(_hold())

"""Files that are lent to a title: put, owed, given back, also after a crash."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from harness.rig import originals as module
from harness.rig.hold import Release
from harness.rig.holds import Holds
from harness.rig.originals import FileTrouble, Originals, pay_debts

NOW = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)


@pytest.fixture
def lab(tmp_path: Path) -> Path:
    (tmp_path / "lab").mkdir()
    (tmp_path / "conf").mkdir()
    (tmp_path / "lab" / "quay.ini").write_text("shadows=high\n")
    target = tmp_path / "conf" / "quay.ini"
    target.write_text("shadows=low\n")
    target.chmod(0o640)
    os.utime(target, ns=(10**18, 10**18))
    return tmp_path


def put(lab: Path, *, give_back: bool = True) -> Originals:
    lent = Originals(lab / "rig")
    source, target = lab / "lab" / "quay.ini", lab / "conf" / "quay.ini"
    lent.put(source, target, owner="run-1-a-001", give_back=give_back)
    return lent


def test_a_file_is_put_in_place_and_its_original_is_kept_first(lab: Path) -> None:
    lent = put(lab)
    assert (lab / "conf" / "quay.ini").read_text() == "shadows=high\n"
    (debt,) = lent.owed()
    assert debt.id == "run-1-a-001.1"
    assert (lent.folder / debt.id / "original").read_text() == "shadows=low\n"


def test_what_is_given_back_has_its_content_mode_and_time_again(lab: Path) -> None:
    lent = put(lab)
    paid = lent.pay()
    target = lab / "conf" / "quay.ini"
    assert paid.given_back == (str(target),)
    assert target.read_text() == "shadows=low\n"
    assert target.stat().st_mode & 0o777 == 0o640
    assert target.stat().st_mtime_ns == 10**18
    assert lent.owed() == ()
    assert list(target.parent.iterdir()) == [target], "nothing unfinished is left beside it"


def test_a_file_that_was_not_there_is_taken_away_again(lab: Path) -> None:
    (lab / "conf" / "quay.ini").unlink()
    lent = put(lab)
    assert lent.pay().unpaid == ()
    assert not (lab / "conf" / "quay.ini").exists()


def test_what_need_not_be_given_back_is_no_debt(lab: Path) -> None:
    assert put(lab, give_back=False).owed() == ()
    assert (lab / "conf" / "quay.ini").read_text() == "shadows=high\n"


def test_a_file_that_is_as_it_should_be_is_not_touched(lab: Path) -> None:
    (lab / "conf" / "quay.ini").write_text("shadows=high\n")
    before = (lab / "conf" / "quay.ini").stat().st_ino
    assert put(lab).owed() == ()
    assert (lab / "conf" / "quay.ini").stat().st_ino == before


def test_the_original_is_durable_before_the_file_is_touched(
    lab: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The order is what a power cut leaves: fsync(2) of copy, note and folders, then the file."""
    done: list[str] = []
    monkeypatch.setattr(module, "_sync", lambda path: done.append(path.name))
    replace = Path.replace

    def noted(path: Path, target: Path) -> Path:
        done.append(f"replace {target.name}")
        return replace(path, target)

    monkeypatch.setattr(Path, "replace", noted)
    put(lab)
    assert done[:6] == [
        "original",
        "note.json",
        ".run-1-a-001.1",
        "originals",
        "rig",
        next(name for name in done if name.startswith(".quay.ini.harness-")),
    ]
    assert done[6:] == ["replace quay.ini", "conf"]


@pytest.mark.parametrize(
    ("spoil", "word"),
    [
        (lambda lab: (lab / "lab" / "quay.ini").unlink(), "is not there"),
        (lambda lab: (lab / "conf" / "quay.ini").chmod(0o444), "read-only"),
        (lambda lab: os.link(lab / "conf" / "quay.ini", lab / "conf" / "two"), "2 names"),
        (
            lambda lab: (
                (lab / "conf" / "quay.ini").rename(lab / "conf" / "real"),
                (lab / "conf" / "quay.ini").symlink_to("real"),
            ),
            "is a link",
        ),
        (
            lambda lab: (
                (lab / "conf" / "quay.ini").unlink(),
                (lab / "conf" / "quay.ini").mkdir(),
            ),
            "no plain file",
        ),
        (
            lambda lab: ((lab / "conf" / "quay.ini").unlink(), (lab / "conf").rmdir()),
            "its folder is not there",
        ),
    ],
)
def test_what_cannot_be_lent_is_refused_and_left_alone(lab: Path, spoil: object, word: str) -> None:
    spoil(lab)  # type: ignore[operator]
    target = lab / "conf" / "quay.ini"
    before = target.read_bytes() if target.is_file() else None
    with pytest.raises(FileTrouble, match=word):
        put(lab)
    assert Originals(lab / "rig").owed() == ()
    assert (target.read_bytes() if target.is_file() else None) == before


def test_the_next_runner_gives_back_what_a_crash_left_and_keeps_what_it_found(lab: Path) -> None:
    put(lab)
    (lab / "conf" / "quay.ini").write_text("mended by hand\n")
    given_back = pay_debts(Originals(lab / "rig"), holds=Holds(lab / "rig"), now=NOW)
    assert given_back == (str(lab / "conf" / "quay.ini"),)
    assert (lab / "conf" / "quay.ini").read_text() == "shadows=low\n"
    (found,) = (lab / "rig" / "originals").glob("found-*")
    assert found.read_text() == "mended by hand\n"


def test_a_debt_that_cannot_be_paid_holds_the_rig_until_a_person_has_put_it_right(
    lab: Path,
) -> None:
    lent, holds = put(lab), Holds(lab / "rig")
    (lab / "conf" / "quay.ini").unlink()
    (lab / "conf").rmdir()
    assert pay_debts(lent, holds=holds, now=NOW) == ()
    (hold,) = holds.standing()
    assert "conf/quay.ini" in hold.reason
    assert "No such file or directory" in hold.reason
    assert str(lent.folder) in hold.do
    holds.release(Release(hold=hold.id, by="Ines", note="mended", at=NOW.isoformat()))
    pay_debts(lent, holds=holds, now=NOW)
    assert (holds.standing(), lent.owed()) == ((), ())
    (kept,) = lent.folder.glob("settled-*")
    assert (kept / "original").read_text() == "shadows=low\n", "the original is never thrown away"


def test_a_debt_whose_note_is_spoilt_holds_the_rig_rather_than_being_forgotten(lab: Path) -> None:
    lent, holds = put(lab), Holds(lab / "rig")
    (debt,) = lent.owed()
    (lent.folder / debt.id / "note.json").write_text("{")
    pay_debts(lent, holds=holds, now=NOW)
    assert "cannot be read" in holds.standing()[0].reason


def test_a_crash_while_the_original_is_being_kept_leaves_no_debt(lab: Path) -> None:
    unfinished = lab / "rig" / "originals" / ".run-1-a-001.1"
    unfinished.mkdir(parents=True)
    (unfinished / "original").write_text("half")
    assert Originals(lab / "rig").owed() == ()
    assert put(lab).pay().unpaid == ()
    assert (lab / "conf" / "quay.ini").read_text() == "shadows=low\n"

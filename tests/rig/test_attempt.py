from __future__ import annotations

import os
from pathlib import Path

import pytest

from harness.rig.attempt import (
    AttemptFolder,
    collect,
    fresh,
    left_by_earlier,
    members,
    wait_until_settled,
)
from tests.rig.clocks import StillClock


@pytest.fixture
def folder(tmp_path: Path) -> AttemptFolder:
    return fresh(tmp_path / "work", "0f3a91c2d4e5-001")


def _old(path: Path, folder: AttemptFolder, seconds: int) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(path.name)
    stamp = folder.made_ns - seconds * 10**9
    os.utime(path, ns=(stamp, stamp))


def test_an_attempt_begins_with_nothing_in_its_folders(folder: AttemptFolder) -> None:
    assert members(folder.path) == ()
    assert folder.captures.is_dir()


def test_what_lies_in_the_place_of_an_attempt_is_moved_aside_and_kept(tmp_path: Path) -> None:
    for text in ("first", "second"):
        (fresh(tmp_path, "a-001").captures / "frames.csv").write_text(text)
    assert members(fresh(tmp_path, "a-001").path) == ()
    kept = sorted(path.read_text() for path in tmp_path.rglob("frames.csv"))
    assert kept == ["first", "second"]
    assert list(left_by_earlier(tmp_path)) == ["a-001"]


def test_members_are_plain_files_named_from_the_attempt_on(folder: AttemptFolder) -> None:
    (folder.captures / "deep").mkdir()
    (folder.captures / "deep" / "frames.csv").write_text("x")
    folder.output("stdout").write_text("y")
    folder.readings.write_text("z")
    assert [member.name for member in members(folder.path)] == [
        "captures/deep/frames.csv",
        "output/stdout",
        "readings.jsonl",
    ]


def test_a_link_out_of_the_folder_and_a_pipe_are_not_members(
    folder: AttemptFolder, tmp_path: Path
) -> None:
    (tmp_path / "elsewhere.csv").write_text("not of this attempt")
    (folder.captures / "frames.csv").symlink_to(tmp_path / "elsewhere.csv")
    (folder.captures / "deep").symlink_to(tmp_path)
    os.mkfifo(folder.captures / "pipe")
    assert members(folder.path) == ()


def test_a_name_that_is_not_utf8_is_kept_under_an_escaped_one(folder: AttemptFolder) -> None:
    raw = os.fsencode(folder.captures) + b"/caf\xe9.csv"
    descriptor = os.open(raw, os.O_CREAT | os.O_WRONLY)
    os.close(descriptor)
    (member,) = members(folder.path)
    assert member.name == "captures/caf\\xe9.csv"
    assert os.fsencode(member.path) == raw


def test_only_files_written_since_the_attempt_began_are_collected(
    folder: AttemptFolder, tmp_path: Path
) -> None:
    _old(tmp_path / "results" / "last-week.csv", folder, 7 * 86_400)
    _old(tmp_path / "results" / "new.csv", folder, -1)
    collect(folder, ["results/*.csv"], where=tmp_path)
    assert [path.name for path in folder.captures.iterdir()] == ["new.csv"]


def test_where_nothing_is_new_the_newest_is_taken_with_its_age(
    folder: AttemptFolder, tmp_path: Path
) -> None:
    _old(tmp_path / "results" / "older.csv", folder, 9000)
    _old(tmp_path / "results" / "old.csv", folder, 3600)
    collect(folder, ["results/*.csv"], where=tmp_path)
    (found,) = folder.captures.iterdir()
    assert found.name == "old.csv"
    assert found.stat().st_mtime_ns == folder.made_ns - 3600 * 10**9


def test_two_collected_files_of_one_name_are_both_kept(
    folder: AttemptFolder, tmp_path: Path
) -> None:
    _old(tmp_path / "results" / "east" / "frames.csv", folder, -1)
    _old(tmp_path / "results" / "west" / "frames.csv", folder, -1)
    collect(folder, ["results/*/frames.csv"], where=tmp_path)
    names = sorted(path.name for path in folder.captures.iterdir())
    assert names == ["frames.csv", "results-west-frames.csv"]


def test_files_are_settled_when_two_looks_see_the_same(folder: AttemptFolder) -> None:
    (folder.captures / "frames.csv").write_text("1\n")
    clock = StillClock()
    assert wait_until_settled(folder, clock=clock, settle_s=5.0) == ()
    assert clock.pauses == 1


class _Writer(StillClock):
    """Somebody who writes between looks, for a while."""

    def __init__(self, path: Path, looks: int) -> None:
        super().__init__()
        self._path, self._looks = path, looks

    def pause(self, seconds: float) -> None:
        super().pause(seconds)
        if self.pauses <= self._looks:
            with self._path.open("a") as file:
                file.write("2\n")


def test_a_file_that_grows_is_waited_for(folder: AttemptFolder) -> None:
    clock = _Writer(folder.captures / "frames.csv", looks=3)
    assert wait_until_settled(folder, clock=clock, settle_s=5.0) == ()
    assert (folder.captures / "frames.csv").read_text() == "2\n" * 3


def test_waiting_for_a_file_that_never_settles_is_bounded_and_names_it(
    folder: AttemptFolder,
) -> None:
    clock = _Writer(folder.captures / "frames.csv", looks=10**6)
    assert wait_until_settled(folder, clock=clock, settle_s=0.5) == ("captures/frames.csv",)


def test_files_that_were_long_left_alone_need_no_second_look(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = fresh(tmp_path, "a-001")
    (folder.captures / "frames.csv").write_text("1\n")
    clock = _Writer(folder.captures / "frames.csv", looks=10**6)
    # The time of change cannot be set back for a test either: a negative span makes all old.
    monkeypatch.setattr("harness.rig.attempt.LOOK_S", -1.0)
    assert wait_until_settled(folder, clock=clock, settle_s=5.0) == ()
    assert (folder.captures / "frames.csv").read_text() == "1\n", "the clock was never paused"

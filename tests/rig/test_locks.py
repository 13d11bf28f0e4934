from __future__ import annotations

import json
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from harness.errors import Exit, RigError
from harness.rig import locks
from harness.rig.locks import RigLock, RunnerLock, runner_at_work

NOW = datetime(2026, 3, 2, 22, 30, tzinfo=UTC)


def test_a_second_runner_is_refused_and_told_who_has_the_rig(tmp_path: Path) -> None:
    with (
        RunnerLock(tmp_path, plan="two-slots", now=NOW),
        pytest.raises(RigError) as refused,
    ):
        RunnerLock(tmp_path, plan="another", now=NOW)
    assert refused.value.status is Exit.RIG_NOT_READY
    assert str(refused.value) == (
        "error[rig-busy]: another runner is carrying out a plan on this rig\n"
        f"  runner: process {os.getpid()}, since 2026-03-02T22:30:00+00:00\n"
        "  plan: two-slots\n"
        "  do: wait until it has ended, or stop it with Ctrl-C where it runs"
        f" (or kill -TERM {os.getpid()})"
    )


def test_the_rig_is_free_again_when_its_runner_is_done(tmp_path: Path) -> None:
    with RunnerLock(tmp_path, plan="two-slots", now=NOW):
        pass
    with RunnerLock(tmp_path, plan="another", now=NOW) as lock:
        assert lock.owner.plan == "another"


def test_a_runner_notes_later_which_run_of_which_store_it_carries_out(tmp_path: Path) -> None:
    with RunnerLock(tmp_path, plan="two-slots", now=NOW) as lock:
        before = runner_at_work(tmp_path)
        lock.note(run="two-slots-1", store=tmp_path)
        after = runner_at_work(tmp_path)
        with pytest.raises(RigError, match=f"run: two-slots-1, store {tmp_path}"):
            RunnerLock(tmp_path, plan="another", now=NOW)
    assert before is not None
    assert after == before.but(run="two-slots-1", store=str(tmp_path))


def test_a_shorter_note_leaves_nothing_of_the_longer_one(tmp_path: Path) -> None:
    with RunnerLock(tmp_path, plan="two-slots", now=NOW) as lock:
        lock.note(run="two-slots-1-again-again", store=tmp_path)
        lock.note(run="two-slots-1", store=tmp_path)
        found = runner_at_work(tmp_path)
    assert found is not None
    assert found.run == "two-slots-1"


def test_a_note_without_run_and_store_is_still_read(tmp_path: Path) -> None:
    old = {"pid": 7, "started_ticks": 8, "boot": "x", "since": "y", "plan": "z"}
    with RunnerLock(tmp_path, plan="two-slots", now=NOW):
        (tmp_path / "runner.lock").write_text(json.dumps(old))
        found = runner_at_work(tmp_path)
    assert found is not None
    assert (found.pid, found.plan, found.run, found.store) == (7, "z", "", "")
    assert found.carries_out("two-slots-1", store=tmp_path) is None


def test_a_run_is_carried_out_only_where_its_name_and_its_store_are_the_same(
    tmp_path: Path,
) -> None:
    mine, other = tmp_path / "mine", tmp_path / "other"
    mine.mkdir()
    other.mkdir()
    (tmp_path / "link").symlink_to(mine)
    with RunnerLock(tmp_path, plan="two-slots", now=NOW) as lock:
        lock.note(run="two-slots-1", store=mine)
        owner = lock.owner
    assert owner.carries_out("two-slots-1", store=tmp_path / "link") is True
    assert owner.carries_out("two-slots-1", store=other) is False
    assert owner.carries_out("two-slots-2", store=mine) is False
    assert owner.carries_out("two-slots-1", store=tmp_path / "gone") is False


def test_an_old_note_does_not_keep_anybody_out(tmp_path: Path) -> None:
    (tmp_path / "runner.lock").write_text(
        json.dumps({"pid": 1, "started_ticks": 0, "boot": "x", "since": "y", "plan": "z" * 500})
    )
    with RunnerLock(tmp_path, plan="two-slots", now=NOW):
        found = runner_at_work(tmp_path)
    assert found is not None
    assert (found.pid, found.plan) == (os.getpid(), "two-slots")


def test_a_number_that_now_belongs_to_a_stranger_is_not_offered_to_be_ended(
    tmp_path: Path,
) -> None:
    with RunnerLock(tmp_path, plan="two-slots", now=NOW):
        note = json.loads((tmp_path / "runner.lock").read_text())
        (tmp_path / "runner.lock").write_text(json.dumps(note | {"started_ticks": 1}))
        with pytest.raises(RigError) as refused:
            RunnerLock(tmp_path, plan="another", now=NOW)
    assert "not there any more; another one holds the lock" in str(refused.value)
    assert "kill" not in str(refused.value)


def test_a_runner_that_has_not_written_itself_down_is_still_a_runner(tmp_path: Path) -> None:
    with RunnerLock(tmp_path, plan="two-slots", now=NOW):
        (tmp_path / "runner.lock").write_text("")
        with pytest.raises(RigError, match="has not been written down yet"):
            RunnerLock(tmp_path, plan="another", now=NOW)


def test_nobody_is_at_work_on_a_rig_that_was_never_used(tmp_path: Path) -> None:
    assert runner_at_work(tmp_path / "rig") is None


def test_the_runner_lock_is_not_inherited(tmp_path: Path) -> None:
    with RunnerLock(tmp_path, plan="two-slots", now=NOW) as lock:
        assert not os.get_inheritable(lock._fd)


def test_the_rig_lock_is_held_until_the_last_copy_of_its_descriptor_is_gone(
    tmp_path: Path,
) -> None:
    lock = RigLock(tmp_path)
    first = lock.take()
    assert first is not None
    copy = os.dup(first)
    os.close(first)
    assert not lock.is_free()
    assert lock.take() is None
    os.close(copy)
    assert lock.is_free()


def test_another_system_is_told_that_this_is_not_built_yet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(locks, "fcntl", None)
    with pytest.raises(RigError, match="not-built-yet"):
        RigLock(tmp_path)


def test_a_state_folder_that_cannot_be_made_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(RigError, match="HARNESS_RIG"):
        RunnerLock(tmp_path / "file" / "rig", plan="two-slots", now=NOW)

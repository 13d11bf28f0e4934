"""The page beside the watch: started, tried again after longer waits, spared, ended."""

from __future__ import annotations

import errno
import os
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from harness.watch.page_process import FIRST_S, LIVED_S, MOST_S, HarnessPage, PageProcess
from tests.watch.fakes import FakeLog, FakeRig


class Child:
    """A page that does as it is told."""

    def __init__(self, pid: int) -> None:
        self.pid, self.status, self.where, self.ended = pid, None, "", False
        self.why = "the page cannot listen on 127.0.0.1, port 8017"

    status: int | None

    def descriptors(self) -> tuple[int, ...]:
        return ()

    def address(self) -> str:
        return self.where

    def poll(self) -> int | None:
        return self.status

    def last_words(self) -> str:
        return self.why

    def end(self) -> None:
        self.ended = True


class Place:
    def __init__(self, *, refusals: int = 0) -> None:
        self.rig, self.log, self.children = FakeRig(), FakeLog(), list[Child]()
        self.refusals = refusals
        self.page = PageProcess(self.start, log=self.log, steady_s=self.rig.steady_s)

    def start(self) -> Child:
        if self.refusals:
            self.refusals -= 1
            raise OSError("too many processes")
        self.children.append(Child(4000 + len(self.children)))
        return self.children[-1]

    def look(self, *, quiet: bool = False) -> float | None:
        return self.page.look(quiet=quiet)

    def ends(self, status: int = 2) -> None:
        self.children[-1].status = status

    def said(self) -> list[str]:
        return [event for event, _ in self.log.said]


def test_a_page_is_started_once_and_told_of_once() -> None:
    place = Place()
    assert place.look() is None
    place.children[0].where = "http://127.0.0.1:8017/"
    assert [place.look(), place.look()] == [None, None]
    assert len(place.children) == 1
    assert place.said() == ["the page is there"]
    assert place.page.process() == (4000,)


def test_no_page_is_started_in_a_pass() -> None:
    place = Place()
    assert place.look(quiet=True) is None
    assert place.children == []
    place.look()
    assert len(place.children) == 1


def test_a_page_that_ends_is_started_again_after_waits_that_double() -> None:
    place = Place()
    waits = []
    for _ in range(10):
        place.look()
        place.ends()
        waits.append(place.look())
        assert place.children[-1].ended
        assert place.page.process() == ()
        place.rig.passes(waits[-1] or 0.0)
    assert waits == [min(MOST_S, FIRST_S * 2**n) for n in range(10)]
    assert len(place.children) == 10
    # The same reason is one line, however often it is tried.
    assert place.said() == ["no page"]


def test_before_its_wait_is_over_none_is_started() -> None:
    place = Place()
    place.look()
    place.ends()
    place.look()
    place.rig.passes(FIRST_S - 1)
    assert place.look() == 1.0
    assert len(place.children) == 1


def test_a_page_that_has_lived_long_is_back_soon() -> None:
    place = Place()
    for _ in range(6):
        place.look()
        place.ends()
        place.rig.passes(place.look() or 0.0)
    place.look()
    place.rig.passes(LIVED_S)
    place.ends(-11)
    assert place.look() == FIRST_S


def test_another_reason_is_another_line() -> None:
    place = Place()
    for why in ("one", "one", "two"):
        place.look()
        place.children[-1].why = why
        place.ends()
        place.rig.passes(place.look() or 0.0)
    assert [more["why"] for _, more in place.log.said] == ["one", "two"]


def test_where_the_system_starts_none_it_is_tried_again() -> None:
    place = Place(refusals=1)
    assert place.look() is not None
    place.rig.passes(FIRST_S)
    assert place.look() is None
    assert len(place.children) == 1


def test_it_ends_with_the_watch() -> None:
    place = Place()
    place.look()
    place.page.stop()
    place.page.stop()
    assert place.children[0].ended
    assert place.page.process() == ()


def test_a_page_that_cannot_be_watched_is_not_left_running(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[subprocess.Popen[bytes]] = []
    real = subprocess.Popen

    def started(_: Sequence[str], **how: Any) -> subprocess.Popen[bytes]:
        begun.append(real(["sleep", "60"], **how))
        return begun[-1]

    def full(_: int) -> int:
        raise OSError(errno.EMFILE, "Too many open files")

    monkeypatch.setattr(subprocess, "Popen", started)
    monkeypatch.setattr(os, "pidfd_open", full)
    with pytest.raises(OSError, match="Too many open files"):
        HarnessPage(tmp_path, ())
    assert begun[0].poll() is not None

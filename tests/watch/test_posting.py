"""Notices on their way: each once, tried again a bounded number of times, never waited for."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from harness.watch import events as e
from harness.watch.journal import WatchJournal
from harness.watch.notices import NoticeKind
from harness.watch.noticing import settled
from harness.watch.ports import RunSeen
from harness.watch.posting import TRY_S, Posting, Try
from harness.watch.watch_settings import Recipient
from tests.watch.fakes import FakeLog, FakeRig, FakeStores

WEBHOOK = Recipient(name="json://a", address="json://a/x?secret", tries=3, retry_after_s=10.0)
MAIL = Recipient(name="mailto://b", address="mailto://b", tries=2, on=(NoticeKind.FAILED,))


class Sending:
    """A try that ends as it is told to."""

    pid = 4711

    def __init__(self, status: int | None) -> None:
        self.status, self.killed = status, False

    def poll(self) -> int | None:
        return self.status

    def kill(self) -> None:
        self.killed = True


class Place:
    def __init__(self, folder: Path, *recipients: Recipient) -> None:
        self.journal, self.rig, self.log = WatchJournal(folder), FakeRig(), FakeLog()
        self.answers: list[int | None] = []
        self.sent: list[tuple[str, str]] = []
        self.tries: list[Sending] = []
        self.done: set[str] = set()
        self.posting = self.anew(*recipients)

    def anew(self, *recipients: Recipient) -> Posting:
        self.posting = Posting(
            self.journal,
            recipients,
            log=self.log,
            now=self.rig.now,
            steady_s=self.rig.steady_s,
            sender=self.send,
            settled=lambda notice: "it is done" if notice.key in self.done else "",
        )
        return self.posting

    def send(self, recipient: Recipient, notice: e.Noticed) -> Try:
        self.sent.append((recipient.name, notice.key))
        self.tries.append(Sending(self.answers.pop(0) if self.answers else 0))
        return self.tries[-1]

    def notice(self, key: str = "run-1#9", about: str = "done") -> None:
        at = self.rig.at.isoformat()
        self.journal.keep(e.Noticed(at=at, key=key, about=about, title="t", body="b"))

    def passes(self, seconds: float) -> None:
        for _ in range(int(seconds)):
            self.rig.passes(1.0)
            self.posting.look(quiet=False)


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    found = Place(tmp_path, WEBHOOK)
    yield found
    found.journal.close()


def test_a_notice_is_sent_once_also_by_the_next_daemon(place: Place) -> None:
    place.notice()
    place.passes(5)
    place.anew(WEBHOOK)
    place.passes(5)

    assert place.sent == [("json://a", "run-1#9")]


def test_a_webhook_that_fails_twice_is_tried_a_third_time_each_wait_doubled(place: Place) -> None:
    place.answers = [1, 1, 0]
    place.notice()
    place.passes(60)

    assert len(place.sent) == 3
    waits = [more["again_in_s"] for event, more in place.log.said if event == "not told"]
    assert waits == [10.0, 20.0]
    assert place.log.words()[-1] == "told"


def test_a_server_that_is_dead_is_given_up_and_costs_nothing_but_lines_in_the_log(
    place: Place,
) -> None:
    place.answers = [1] * 10
    place.notice()
    place.passes(300)

    assert len(place.sent) == 3
    assert place.log.words() == ["not told"] * 3
    assert place.posting.look(quiet=False) is None


def test_a_server_that_never_answers_is_not_waited_for(place: Place) -> None:
    place.answers = [None, 0]
    place.notice()
    place.passes(TRY_S + 30)

    assert place.tries[0].killed
    assert len(place.sent) == 2


def test_nothing_is_sent_while_a_pass_runs(place: Place) -> None:
    place.notice()

    assert place.posting.look(quiet=True) is None
    assert place.sent == []


def test_each_is_told_what_it_has_chosen_and_failures_only_if_chosen(place: Place) -> None:
    place.anew(WEBHOOK, MAIL)
    place.notice("a", "done")
    place.notice("b", "failed")
    place.passes(10)

    assert sorted(place.sent) == [("json://a", "a"), ("mailto://b", "b")]


def test_what_is_settled_is_not_told_any_more_and_never_later(place: Place) -> None:
    place.done = {"a"}
    place.answers = [1]
    place.notice("a", "person")
    place.notice("b", "person")
    place.passes(5)
    place.done.add("b")
    place.passes(20)
    place.done.clear()
    place.passes(60)

    assert place.sent == [("json://a", "b")]
    assert place.log.words() == ["not to be told", "not told", "not to be told"]
    assert place.journal.standing.told == {("a", "json://a"), ("b", "json://a")}


def person(settles: str = "1", **more: str) -> e.Noticed:
    return e.Noticed(
        at="", key="run-1#3", about=more.get("about", "person"), title="t", body="b",
        run="run-1", seq=3, store="/store", open=settles,
    )  # fmt: skip


def stands(phase: str, step: str = "") -> FakeStores:
    run = RunSeen(run="run-1", plan_name="p", plan_hash="h", phase=phase, step=step)
    return FakeStores(seen=[run])


def test_a_step_that_is_open_is_not_settled() -> None:
    assert settled(person(), stores=stands("step", "step 1: Card out."), rig=FakeRig()) == ""


@pytest.mark.parametrize("stores", [stands("idle"), stands("step", "step 12: Card out.")])
def test_a_step_that_is_done_is_settled(stores: FakeStores) -> None:
    assert settled(person(), stores=stores, rig=FakeRig()) == "the step is not open any more"


def test_a_step_of_a_store_that_cannot_be_read_is_not_settled() -> None:
    assert settled(person(), stores=FakeStores(), rig=FakeRig()) == ""


def test_a_hold_is_settled_by_its_own_release() -> None:
    held, rig = person("h-1", about="held"), FakeRig(released={"h-2"})
    assert settled(held, stores=FakeStores(), rig=rig) == ""
    rig.released.add("h-1")
    assert settled(held, stores=FakeStores(), rig=rig) == "the hold has been released"


def test_a_notice_of_an_earlier_version_is_not_settled() -> None:
    assert settled(person(""), stores=stands("idle"), rig=FakeRig()) == ""


def test_a_notice_of_last_week_is_not_told_any_more(place: Place) -> None:
    place.notice()
    place.rig.passes(7 * 86_400.0)
    place.passes(5)

    assert place.sent == []


def test_an_address_is_never_shown(place: Place) -> None:
    place.answers = [1] * 5
    place.notice()
    place.passes(100)

    assert "secret" not in repr(place.log.said)
    assert "secret" not in place.journal.path.read_text(encoding="utf-8")


def test_whoever_ends_a_runner_s_tree_is_told_which_process_to_spare(place: Place) -> None:
    place.answers = [None]
    place.notice()
    assert place.posting.process() == ()
    place.passes(1)

    assert place.posting.process() == (4711,)

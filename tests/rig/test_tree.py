from __future__ import annotations

import os
import signal

from hypothesis import given
from hypothesis import strategies as st

from harness.rig.tree import ProcessId, parse_stat, process, send

# The order of the fields is that of proc_pid_stat(5).
_LINE = b"812 (%s) S 1 812 812 0 -1 4194560 100 0 0 0 11 7 40 2 20 0 1 0 98765 1000 50 18446744073"


def test_a_process_is_read_by_the_fields_of_the_manual() -> None:
    found = parse_stat(_LINE % b"copper-fen")
    assert found.id == ProcessId(812, 98765)
    assert (found.name, found.state, found.parent) == ("copper-fen", "S", 1)
    assert (found.own_ticks, found.reaped_ticks) == (11 + 7, 40 + 2)


@given(st.binary(max_size=15).filter(lambda name: b"\0" not in name))
def test_a_name_may_hold_brackets_spaces_and_line_breaks(name: bytes) -> None:
    found = parse_stat(_LINE % name)
    assert (found.id.pid, found.parent, found.id.started_ticks) == (812, 1, 98765)


@given(st.binary())
def test_what_is_no_such_line_is_refused_and_never_half_read(text: bytes) -> None:
    try:
        parse_stat(text)
    except (ValueError, IndexError):
        return
    assert b"(" in text


def test_this_process_is_found_under_its_own_number() -> None:
    found = process(os.getpid())
    assert found is not None
    assert found.parent == os.getppid()


def test_a_number_that_was_used_again_is_never_signalled() -> None:
    me = process(os.getpid())
    assert me is not None
    stranger = ProcessId(me.id.pid, me.id.started_ticks + 1)
    # Were it delivered, this test would end here.
    assert not send(stranger, signal.SIGKILL)


def test_a_process_that_is_gone_counts_as_not_there() -> None:
    assert process(2**22 + 1) is None
    assert not send(ProcessId(2**22 + 1, 1), signal.SIGTERM)


def test_a_signal_reaches_the_process_it_is_meant_for() -> None:
    me = process(os.getpid())
    assert me is not None
    came: list[int] = []
    before = signal.signal(signal.SIGUSR1, lambda number, _: came.append(number))
    try:
        assert send(me.id, signal.SIGUSR1)
        signal.sigtimedwait((), 0)  # lets the handler run
    finally:
        signal.signal(signal.SIGUSR1, before)
    assert came == [signal.SIGUSR1]

from __future__ import annotations

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from harness.rig.sensors.board import MOST_NAMES, Board, BoardFile, packed, unpacked
from harness.rig.sensors.outside_lines import Said


def board(*lines: tuple[str, str, float], trouble: str | None = None) -> Board:
    made = Board(trouble=trouble)
    for number, (name, rest, at_s) in enumerate(lines, start=1):
        made.put(Said(name=name, rest=rest, line=number), at_s=at_s)
    return made


@given(
    st.lists(st.tuples(st.text(max_size=20), st.text(max_size=20), st.floats(0, 1e9))),
    st.none() | st.text(max_size=50),
)
def test_what_is_packed_comes_back(
    lines: list[tuple[str, str, float]], trouble: str | None
) -> None:
    made = board(*lines, trouble=trouble)
    assert unpacked(packed(made)) == made


@given(st.data())
def test_a_part_of_a_board_is_none(data: st.DataObject) -> None:
    whole = packed(board(("room.temperature", "22.4 °C", 1.0), trouble="ended"))
    cut = data.draw(st.integers(0, len(whole) - 1))
    assert unpacked(whole[:cut]) is None


@given(st.data())
def test_a_mix_of_two_boards_is_none(data: st.DataObject) -> None:
    old = packed(board(("room.temperature", "22.4 °C", 1.0)))
    new = packed(board(("room.temperature", "99.9 °C", 2.0)))
    assert len(old) == len(new)
    cut = data.draw(st.integers(1, len(new) - 1))
    mixed = new[:cut] + old[cut:]
    assert mixed in (old, new) or unpacked(mixed) is None


def test_a_shorter_board_leaves_nothing_of_a_longer_one(tmp_path: Path) -> None:
    path = tmp_path / "board"
    path.touch()
    write, read = BoardFile(path, write=True), BoardFile(path, write=False)
    assert read.read() is None
    for made in (board(("a.b", "x" * 300, 1.0)), board(("a.b", "y", 2.0))):
        write.write(made)
        assert read.read() == made
    write.close()
    read.close()


def test_names_without_end_are_not_kept() -> None:
    made = board(*((f"n.{n}", "1 W", 1.0) for n in range(MOST_NAMES + 9)))
    assert len(made.lines) == MOST_NAMES

"""The page keeps no comparison: whoever reads it has no name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from harness.store.sqlite import open_store
from harness.views.page.desk import Desk
from tests.store.examples import AT, despite

RUN = "two-slots-1"


def test_the_page_takes_only_reasons_that_are_kept_and_asks_again_when_one_is(
    tmp_path: Path,
) -> None:
    asked: list[tuple[str, Sequence[str]]] = []

    def ask(command: str, arguments: Sequence[str]) -> Mapping[str, Any]:
        asked.append((command, arguments))
        return {}

    with open_store(tmp_path, write=True) as store:
        store.create_run(RUN, plan_name="p", plan_hash="9f", rig="bench-3", cells=2, at=AT)
    desk = Desk(
        store=tmp_path,
        rig=tmp_path / "rig",
        node="bench-3",
        now=lambda: datetime(2026, 11, 3, tzinfo=UTC),
        ask=ask,
    )
    desk.asked("compare", ["--base=run=a", "--despite=so what"])
    desk.asked("compare", ["--base=run=a", "--despite=so what"])  # from memory
    desk.asked("ceilings", [])
    with open_store(tmp_path, write=True) as store:
        store.comparisons().keep(despite(run=RUN), at=AT)
    desk.asked("compare", ["--base=run=a", "--despite=so what"])

    assert [command for command, _ in asked] == ["compare", "ceilings", "compare"]
    assert "--as-kept" in asked[0][1]
    assert "--as-kept" not in asked[1][1]

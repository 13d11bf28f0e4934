"""A record as one sentence: what is counted is in the number that it has."""

from __future__ import annotations

import pytest

from harness.run import records as r
from harness.views.story import sentence
from tests.run.rehearsal import Rehearsal, plan


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (("a",), "1 earlier cell is measured after all: no history"),
        (("a", "b"), "2 earlier cells are measured after all: no history"),
    ],
)
def test_earlier_cells_that_are_turned_down_are_counted(cells: tuple[str, ...], said: str) -> None:
    grid = Rehearsal(plan()).folded().grid
    assert sentence(r.ReuseTurnedDown(cells=cells, reason="no history"), grid) == said

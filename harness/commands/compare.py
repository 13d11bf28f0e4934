"""Margins between two selections, per cell and over all titles.

A margin is the ratio of geometric means over kept passes minus one, with its 95 % interval and
a word: faster, slower, alike, unresolved. Cells are matched by title, scene, setting and every
condition that is not named for a side. The sides may come from different rigs, runs and
nights; what differs besides is named first, and then needs --despite REASON.

  harness compare --base slot=alone --against slot=shared
  harness compare --base run=before-1 --against run=after-1 --figure low_1pct_fps
"""

from __future__ import annotations

import argparse
import json
import shutil
from collections.abc import Sequence
from dataclasses import replace
from typing import TextIO

from harness.errors import AskedError, Exit, Problem
from harness.settings import store_folder
from harness.store.sqlite import Store, open_store
from harness.summary.comparison import Asked, Comparison, compare
from harness.summary.families import Correction
from harness.summary.matching import match
from harness.summary.selections import bad_selection, band_of, selection, weights_of
from harness.summary.sides import SideCell, side_cells
from harness.views.comparison import as_text
from harness.views.comparison_json import as_json
from harness.wiring import earlier_run


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    for option, what in (
        ("base", "what is held against"),
        ("against", "what is held against it"),
        ("where", "what both sides have"),
    ):
        parser.add_argument(
            f"--{option}",
            metavar="KEY=VALUE",
            action="extend",
            nargs="+",
            default=[],
            help=f"{what}: rig, run, title, scene, setting, group or a condition",
        )
    parser.add_argument("--figure", metavar="NAME", help="default: the average frame rate")
    parser.add_argument("--band", metavar="PERCENT", help="such as '3 %%'; default: the plan's")
    parser.add_argument(
        "--correction",
        choices=[each.value for each in Correction],
        default=Correction.HOLM.value,
        help="of the words of all rows (default: holm)",
    )
    parser.add_argument(
        "--weights", metavar="TITLE=NUMBER", action="extend", nargs="+", default=[],
        help="of titles in what is over all; one that is not named has 1",
    )  # fmt: skip
    parser.add_argument(
        "--despite", metavar="REASON", default="", help="why differences do not matter; printed"
    )
    parser.add_argument("--with-marked", action="store_true", help="take marked passes in")
    parser.add_argument(
        "--pool-spread", action="store_true", help="pool a title's spreads where a test allows it"
    )
    parser.add_argument(
        "--bootstrap", action="store_true", help="resampled intervals too, from eight values a side"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Compare two selections."""
    base, against, where = (
        selection(texts, option=option)
        for texts, option in ((args.base, "base"), (args.against, "against"), (args.where, "where"))
    )
    _refuse_twice(base, against, where)
    asked = Asked(
        figure=args.figure,
        band=band_of(args.band),
        correction=Correction(args.correction),
        weights=weights_of(args.weights),
        with_marked=args.with_marked,
        pool_spread=args.pool_spread,
        despite=_reason(args.despite),
    )
    named = {each["run"] for each in ({**where, **base}, {**where, **against}) if "run" in each}
    both_named = all("run" in {**where, **side} for side in (base, against))
    with open_store(store_folder(args.store), write=False) as store, store.reading():
        found = cells_of(store, sorted(named) if both_named else None)
    matched = match(found, base=base, against=against, where=where)
    comparison = compare(matched, asked=asked)
    _refuse_unknown_figure(comparison, args.figure, found)
    if args.bootstrap:
        comparison = _resampled(comparison)
    if args.json:
        print(json.dumps(as_json(comparison), ensure_ascii=False, allow_nan=False), file=out)
    else:
        width = shutil.get_terminal_size(fallback=(100, 24)).columns
        for line in as_text(comparison, width=width):
            print(line, file=out)
    return Exit.WELL


def cells_of(store: Store, runs: Sequence[str] | None = None) -> tuple[SideCell, ...]:
    """Return every cell of *runs*, or of all runs, the latest first.

    Raises:
        AskedError: The store has no run, or not the one that is named.
    """
    for name in runs or ():
        store.run(name)
    latest = [line.run for line in store.runs()]
    if not latest:
        raise AskedError(
            Problem(code="no-run", what="the store has no run yet", do="harness run PLAN")
        )
    found: list[SideCell] = []
    earlier = earlier_run(store)
    for name in latest:
        if runs is not None and name not in runs:
            continue
        entries, plan = earlier(name)
        found.extend(side_cells(entries, plan=plan, earlier=earlier))
    return tuple(found)


def _refuse_twice(base: dict[str, str], against: dict[str, str], where: dict[str, str]) -> None:
    if not base and not against:
        raise bad_selection(
            "nothing is compared",
            "name what differs, as in --base slot=alone --against slot=shared",
        )
    if base == against:
        raise bad_selection(
            "both sides are the same selection", "name what differs between the sides"
        )
    for key in where:
        if key in base or key in against:
            raise bad_selection(
                f"{key} is named for both sides and for one", "leave it out of --where"
            )


def _reason(text: str) -> str:
    reason = " ".join(text.split())
    if text and not reason:
        raise AskedError(
            Problem(
                code="no-reason",
                what="--despite gives no reason",
                do="say why the differences do not matter; it is printed with the result",
            )
        )
    return reason


def _resampled(comparison: Comparison) -> Comparison:
    try:
        import numpy as np

        from harness.summary.resampling import of_rows
    except ImportError:
        raise AskedError(
            Problem(
                code="extra-needed",
                what="--bootstrap needs numpy and scipy, which are not installed",
                do="python3 -m pip install 'bench-harness[analysis]', or leave --bootstrap out",
            )
        ) from None
    rows = [each.row for each in comparison.rows]
    # One seed for ever: the same passes give the same interval.
    intervals = of_rows(rows, chance=np.random.default_rng(1))
    return replace(
        comparison,
        rows=tuple(
            replace(each, bootstrap=interval)
            for each, interval in zip(comparison.rows, intervals, strict=True)
        ),
    )


def _refuse_unknown_figure(
    comparison: Comparison, figure: str | None, found: Sequence[SideCell]
) -> None:
    if figure is None or comparison.rows:
        return
    names = {name for cell in found for each in cell.kept for name in each.figures}
    if figure not in names:
        raise AskedError(
            Problem(
                code="no-such-figure",
                what=f"no kept pass has a figure {figure}",
                do=f"write one of {', '.join(sorted(names))}",
            )
        )

"""Margins between two selections, per cell and over all titles.

A margin is the ratio of geometric means over kept passes minus one, with its 95 % interval and
a word: faster, slower, alike, unresolved. Cells are matched by title, scene, setting and every
condition that is not named for a side. The sides may come from different rigs, runs and
nights; what differs besides is named first, and then needs --despite REASON, which is kept with
the result. Where a side names several runs, each run is one value. Where no two cells can be held
against each other the exit status is 1, and 2 where the sides have none in common.

  harness compare --base slot=alone --against slot=shared
  harness compare --base run=before-1 --against run=after-1 --figure low_1pct_fps
  harness compare --base run=mon run=tue run=wed --against run=thu run=fri run=sat
"""

from __future__ import annotations

import argparse
import json
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TextIO

from harness import __version__
from harness.commands.despite import (
    add_despite_arguments,
    keep,
    name_of,
    reason_of,
    refuse_unkept,
)
from harness.errors import AskedError, Exit, Problem, StoreError
from harness.settings import store_folder
from harness.store.sqlite import Store, open_store
from harness.summary.comparison import LOW, Asked, Comparison, compare
from harness.summary.comparison_kept import made_despite
from harness.summary.families import Correction
from harness.summary.matching import Matched, match
from harness.summary.selections import (
    Selection,
    bad_selection,
    band_of,
    selection,
    weights_of,
)
from harness.summary.sides import SideCell, side_cells
from harness.views.comparison import as_text
from harness.views.comparison_json import as_json
from harness.wiring import earlier_run

#: Of cells that have no partner.
_MOST_LISTED = 8


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
            help=f"{what}: rig, run, title, scene, setting, group or a condition; a key may be "
            "given again",
        )
    parser.add_argument(
        "--figure", metavar="NAME", help="default: the average frame rate; low: the plan's 1 %% low"
    )
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
    add_despite_arguments(parser)
    parser.add_argument("--with-marked", action="store_true", help="take marked passes in")
    parser.add_argument(
        "--unit", choices=["night"],
        help="count each night of a run as one value, as declared before the numbers were seen",
    )  # fmt: skip
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
        by_night=args.unit == "night",
        pool_spread=args.pool_spread,
        despite=reason_of(args.despite),
    )
    named = {name for each in (where, base, against) for name in each.get("run", ())}
    both_named = all("run" in {**where, **side} for side in (base, against))
    folder = store_folder(args.store)
    with open_store(folder, write=False) as store, store.reading():
        not_read: list[str] = []
        found = cells_of(store, sorted(named) if both_named else None, not_read=not_read)
        kept = store.comparisons().all()
    matched = match(found, base=base, against=against, where=where)
    if not matched.pairs:
        raise _no_pair(matched)
    comparison = compare(matched, asked=asked, kept=kept)
    unread = [(f"run {name}", "kept by another version of the harness") for name in not_read]
    comparison = replace(comparison, left_out=(*comparison.left_out, *unread))
    _refuse_unknown_figure(comparison, args.figure, found)
    if comparison.differences:
        comparison = _kept(comparison, folder, by=args.by, as_kept=args.as_kept)
    if args.bootstrap:
        comparison = _resampled(comparison)
    if args.json:
        print(json.dumps(as_json(comparison), ensure_ascii=False, allow_nan=False), file=out)
    else:
        width = shutil.get_terminal_size(fallback=(100, 24)).columns
        for line in as_text(comparison, width=width):
            print(line, file=out)
    # A script must notice that nothing came of it.
    return Exit.WELL if comparison.rows else Exit.NOT_ALL_ACCEPTED


def cells_of(
    store: Store, runs: Sequence[str] | None = None, *, not_read: list[str] | None = None
) -> tuple[SideCell, ...]:
    """Return every cell of *runs*, or of all runs, the latest first.

    Args:
        store: The store.
        runs: Their names; None: all.
        not_read: Where not None: takes the names of runs that this harness cannot read and that
            nobody named.

    Raises:
        AskedError: The store has no run, or not the one that is named.
        StoreError: A run that is named cannot be read.
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
        try:
            entries, plan = earlier(name)
        except StoreError:
            if not_read is None or runs is not None:
                raise
            not_read.append(name)
            continue
        found.extend(side_cells(entries, plan=plan, earlier=earlier))
    return tuple(found)


def _no_pair(matched: Matched) -> AskedError:
    """Return the error of two selections that have no cell in common, with what they have."""
    sides = (("base", matched.only_base), ("against", matched.only_against))
    listed = [f"only --{side} has {each.label}" for side, own in sides for each in own]
    return AskedError(
        Problem(
            code="no-pair",
            what="no cell stands on both sides: nothing is compared",
            where=(*listed[:_MOST_LISTED], *_more(len(listed) - _MOST_LISTED)),
            do="name sides that share title, scene, setting and every condition not named for them",
        )
    )


def _more(count: int) -> tuple[str, ...]:
    return (f"and {count} more",) if count > 0 else ()


def _kept(comparison: Comparison, folder: Path, *, by: str | None, as_kept: bool) -> Comparison:
    """Keep a comparison with its reason before it is shown, and return it with what is kept."""
    if as_kept:
        refuse_unkept(comparison.kept, reason=comparison.asked.despite, command="compare")
        return comparison
    made = made_despite(
        asked=comparison.asked,
        band=comparison.band,
        selections=comparison.selections,
        rows=comparison.rows,
        differences=comparison.differences,
        by=name_of(by),
        harness=__version__,
    )
    one = keep(made, folder=folder)
    others = [each for each in comparison.kept if each.number != one.number]
    return replace(comparison, kept=(*others, one))


def _refuse_twice(base: Selection, against: Selection, where: Selection) -> None:
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
    if figure in (None, LOW) or comparison.rows:
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

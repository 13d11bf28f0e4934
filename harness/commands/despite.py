"""--despite REASON: what compare and precision take of it, and keep before anything is shown.

No command by itself.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from harness.errors import AskedError, Problem, printable
from harness.rig.at_terminal import login_name
from harness.rig.clock import MachineClock
from harness.store.made_despite import KeptComparison, MadeDespite
from harness.store.sqlite import open_store


def add_despite_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what is asked of whoever puts together what differs."""
    parser.add_argument(
        "--despite", metavar="REASON", default="",
        help="why differences do not matter; kept, and printed with the result for ever",
    )  # fmt: skip
    parser.add_argument("--by", metavar="NAME", help="who says so (default: the login name)")
    parser.add_argument(
        "--as-kept", action="store_true", help="take only a reason that is kept; write nothing"
    )


def reason_of(text: str) -> str:
    """Return the reason in one line; empty where none is given.

    Raises:
        AskedError: The option is given and says nothing.
    """
    reason = " ".join(text.split())
    if text and not reason:
        raise AskedError(
            Problem(
                code="no-reason",
                what="--despite gives no reason",
                do="say why the differences do not matter; it is printed with the result",
            )
        )
    return printable(reason)


def name_of(given: str | None) -> str:
    """Return who says that the differences do not matter.

    Raises:
        AskedError: Nobody does.
    """
    name = login_name() if given is None else given
    if not name.strip():
        raise AskedError(
            Problem(
                code="name-needed",
                what="nobody says that the differences do not matter",
                do="name yourself with --by YOUR-NAME; it is kept with the reason",
            )
        )
    return printable(" ".join(name.split()))


def refuse_unkept(kept: Sequence[KeptComparison], *, reason: str, command: str) -> None:
    """Refuse a reason that none of *kept* gives, where nothing is to be written.

    Raises:
        AskedError: It is not kept.
    """
    if all(each.made.reason != reason for each in kept):
        raise AskedError(
            Problem(
                code="reason-not-kept",
                what="this comparison is not kept with this reason, and here nothing is kept",
                where=(f"--despite {reason!r}",),
                do=f"make it once with harness {command} in a terminal, under your name",
            )
        )


def keep(made: MadeDespite, *, folder: Path) -> KeptComparison:
    """Keep a comparison in the store in *folder*, durably, and return it as it is kept."""
    with open_store(folder, write=True, check=False) as store:
        return store.comparisons().keep(made, at=MachineClock().now())

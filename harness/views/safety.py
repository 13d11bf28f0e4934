"""The words shown with a person's step, and what tells the harness that it is done.

The words are shown whole, every time.

Pure. Common practice, no source; where the maker's manual or a local rule says otherwise,
that holds.
"""

from __future__ import annotations

import shlex

#: Before a case is opened, and while it is.
OPENED_CASE: tuple[str, ...] = (
    "Shut the rig down, switch the power supply off and unplug it.",
    "Hold the power button for some seconds.",
    "Wait until the lights on the board are out and hot parts have cooled.",
    "Discharge yourself before you touch a part, and stay discharged.",
    "Seat connectors fully, with no sharp bend in a cable.",
    "Never open a power supply. Measure wall power only with an enclosed meter.",
    "Follow the maker's manual and local electrical rules; ask a qualified person when in doubt.",
)

#: Once it is closed again.
FIRST_PASS: tuple[str, ...] = (
    "Stay with the rig until the first pass after it is over.",
    "See that every fan turns and that no cable touches one.",
    "At smoke, a smell of burning or a loud noise switch off at the wall, and open nothing.",
)

#: Before a run is left alone.
UNATTENDED: tuple[str, ...] = (
    "Leave a rig alone only with a working smoke alarm and clear air paths.",
    "Leave nothing alone whose power path was modified.",
)


def cautions(
    *, opens_case: bool, attend: bool, reopens: bool = False
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return the words of caution that stand with a person's step, each part under its heading.

    With *attend* nothing is to be done but to stay for the first pass. With *reopens* the case is
    opened only where something is no more as it was.
    """
    found: list[tuple[str, tuple[str, ...]]] = []
    if opens_case:
        found.append(("First, and while the case is open", OPENED_CASE))
        found.append(("Then, with the case closed again", FIRST_PASS))
    if reopens:
        found.append(("Only if it is not so: first, and while the case is open", OPENED_CASE))
        found.append(("Only if the case was opened: with the case closed again", FIRST_PASS))
    if attend:
        found.append(("While you stay", FIRST_PASS[1:]))
    return tuple(found)


def step_lines(
    say: tuple[str, ...],
    *,
    opens_case: bool,
    reboot: bool,
    attend: bool = False,
    reopens: bool = False,
) -> list[str]:
    """Return a person's step as lines: what to do, then the words of caution; see ``cautions``."""
    lines = [f"  {number}. {text}" for number, text in enumerate(say, 1)]
    for heading, words in cautions(opens_case=opens_case, attend=attend, reopens=reopens):
        lines += ["", f"  {heading}:"]
        lines += [f"    - {text}" for text in words]
    if reboot:
        lines += ["", "  The step is done only after the rig has been started anew."]
    return lines


def confirm_hint(*, step: int, run: str, store: str | None, attending: bool = False) -> str:
    """Return the command that confirms *step*, whole: it may be given in another terminal.

    With *attending* it says that whoever gives it stays for the first pass.
    *store* is the store's folder; None: the usual one.
    """
    kept = "" if store is None else f" --store {shlex.quote(store)}"
    stays = " --attending" if attending else ""
    return f"harness confirm --step {step} --by YOUR-NAME{stays} --run {run}{kept}"

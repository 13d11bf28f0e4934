"""The door: ``harness COMMAND …``. Each command is imported when it is asked for.

Commands are a table dispatched by hand, so that help, version and a wrong word cost little
more than the interpreter itself.
"""

from __future__ import annotations

import gc
import sys

from harness import __version__

TYPE_CHECKING = False  # as typing has it, which the shortest commands need not import
if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence
    from typing import TextIO

#: Command -> what it does, in the order of the work.
COMMANDS: dict[str, str] = {
    "check": "all problems of a plan, or its grid, its steps and how long it takes",
    "rehearse": "the night in simulated time: order, waits, a person's steps, finish",
    "preflight": "what would spoil a night on this rig, and what to do about it",
    "run": "carry a plan out in the foreground, or go on with it",
    "status": "runs, cells, holds, and what comes next",
    "confirm": "a person's step is done",
    "release": "the rig has been put right: lift its hold",
    "rerun": "new passes for some cells, under the run's frozen plan",
    "results": "a row per cell: figures, spread, passes by verdict, flags",
    "compare": "margins between two selections, per cell and over all titles",
    "recompute": "figures and verdicts again under another definition or rule, beside the old",
    "ceilings": "rates that a level never exceeds, whatever the setting",
    "drift": "whether a rig still measures what it measured: its reference cell over the nights",
    "precision": "the same cells on several rigs: repeatability, reproducibility, nights",
    "trace": "the story of a cell or a pass, down to the capture's hash",
    "page": "the page for the morning: what ran, what is doubtful and why, and requests",
    "figures": "read a capture by itself and print its figures",
    "verify": "whether the store still holds what was kept; a copy of its records",
    "daemon": "watch over this rig: start what is queued in its nights, and tell persons",
    "queue": "put a plan on this rig's queue, show it, reorder it, take plans off",
    "service": "let the operating system start the daemon, or stop doing so",
    "sensors": "what can be read on this rig, with units and where from",
}


_COLUMNS = 80


def usage() -> str:
    """Return the page that ``harness --help`` shows."""
    width = max(map(len, COMMANDS))
    lines = [
        "usage: harness COMMAND … [--json] [--store FOLDER]",
        "",
        "The unattended bench: carries a plan of titles, settings and levels out on this rig,",
        "keeps every pass, and shows figures that can be traced back to their captures.",
        "",
        *(f"  {name:<{width}}  {about}" for name, about in COMMANDS.items()),
        "",
        "`harness COMMAND --help` says more. Exit status: 0 all well, 1 cells not accepted,",
        "2 asked wrongly, 3 the rig is not ready or held, 4 the store, 5 stopped on request,",
        "70 a bug in the harness.",
    ]
    return "\n".join(lines)


def main(argv: Sequence[str], *, out: TextIO, err: TextIO) -> int:
    """Carry out one command line; return the exit status."""
    if not argv or argv[0] in ("-h", "--help", "help"):
        print(usage(), file=out)
        return 0 if argv else 2
    if argv[0] in ("-V", "--version"):
        print(f"harness {__version__}", file=out)
        return 0
    from harness.errors import HarnessError

    as_json = "--json" in argv
    try:
        return _run(argv[0], argv[1:], out=out)
    except HarnessError as error:
        _complain(error, as_json=as_json, out=out, err=err)
        return error.status


def _run(name: str, argv: Sequence[str], *, out: TextIO) -> int:
    if name not in COMMANDS:
        raise _unknown(name)
    import argparse
    from importlib import import_module

    module = import_module(f"harness.commands.{name}")
    parser = argparse.ArgumentParser(
        prog=f"harness {name}",
        description=module.__doc__,
        # With its width given, argparse need not import what asks the terminal for it.
        formatter_class=lambda prog: argparse.RawDescriptionHelpFormatter(prog, width=_COLUMNS),
        allow_abbrev=False,
    )
    module.add_arguments(parser)
    args: argparse.Namespace = parser.parse_args(argv)
    return int(module.run(args, out))


def _unknown(name: str) -> Exception:
    from difflib import get_close_matches

    from harness.errors import AskedError, Problem

    near = get_close_matches(name, COMMANDS, n=1)
    hint = f"did you mean {near[0]!r}? " if near else ""
    return AskedError(
        Problem(
            code="unknown-command",
            what=f"there is no command {name!r}",
            do=f"{hint}write one of {', '.join(COMMANDS)}",
        )
    )


def _complain(error: Exception, *, as_json: bool, out: TextIO, err: TextIO) -> None:
    from harness.errors import HarnessError, render
    from harness.errors import as_json as to_json

    assert isinstance(error, HarnessError)
    if as_json:
        import json

        problems = [to_json(problem) for problem in error.problems]
        print(json.dumps({"error": problems[0], "errors": problems}, ensure_ascii=False), file=out)
        return
    for problem in error.problems:
        print(render(problem), file=err)


def entry() -> None:
    """Run the command line of this process, as the console script does."""
    for stream in (sys.stdout, sys.stderr):
        # Titles may hold any character; a terminal that cannot show one gets an escape.
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    try:
        status = main(sys.argv[1:], out=sys.stdout, err=sys.stderr)
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader of our output has gone (a pager was closed): nothing is wrong.
        sys.stderr.close()
        status = 0
    except KeyboardInterrupt:
        sys.stderr.write("stopped\n")
        status = 5
    except Exception:  # noqa: BLE001 - the outermost place: whatever comes here is our bug
        import traceback

        traceback.print_exc()
        sys.stderr.write(
            "error[bug]: this is a bug in the harness, not in your plan\n"
            "  do: report the text above; what was kept is safe, and the same command goes on\n"
        )
        status = 70
    # All that is left goes with the process: to look through a large plan for cycles on the
    # way out would take a tenth of the time of its check.
    gc.freeze()
    sys.exit(status)


if __name__ == "__main__":
    entry()

"""Plain commands: a level's, a put_back, a title's build. No pass, no fresh folder of its own.

Touches disk and processes.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from harness.plan.document import Command
from harness.rig.command import Commands
from harness.rig.output import last_line
from harness.rig.placeholders import filled
from harness.rig.sampler import Sampler
from harness.rig.steps import succeeded
from harness.rig.tasks import CommandEnd


def _never() -> bool:
    return False


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainCommands:
    """Carries plain commands out.

    Args:
        commands: Starts them.
        work: Folder for what they say while they run.
        token: Names them in their environment.
    """

    commands: Commands
    work: Path
    token: str

    def carry_out(
        self, command: Command, *, sampler: Sampler | None = None
    ) -> tuple[CommandEnd, bytes]:
        """Carry one out; return how it ended, and what it wrote to its output.

        What it said last is in ``detail`` if it failed.

        Args:
            command: The command.
            sampler: Watches the limits meanwhile.
        """
        self.work.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix="command-", dir=self.work) as name:
            out, err = Path(name) / "stdout", Path(name) / "stderr"
            end = self.commands.carry_out(
                filled(command.argv, {"python": sys.executable}),
                time_limit_s=command.time_limit_s,
                token=self.token,
                stdout=out,
                stderr=err,
                stop=_never,
                onlooker=sampler,
            )
            if sampler is not None:
                sampler.finish()  # one that never began, since the command was refused
            said = last_line(err) or last_line(out)
            if not succeeded(end) and said:
                end = replace(end, detail=f"{end.detail}; it said: {said}".removeprefix("; "))
            return end, out.read_bytes() if out.exists() else b""

    def said(self, command: Command) -> bytes | None:
        """Return what a command wrote to its output; None where it failed."""
        end, output = self.carry_out(command)
        return output if succeeded(end) else None

"""Everything that would spoil a night, before it begins: the table of checks.

Pure. Each check is a name and a judgement over what was looked at before (``Observed``);
it comes to one finding, to several, or to none where the plan does not ask for it.
"""

from __future__ import annotations

from collections.abc import Iterable

from harness.plan.document import Plan
from harness.run import preflight_plan as of_plan
from harness.run import preflight_rig as of_rig
from harness.run.findings import Finding, Judge, Observed
from harness.run.ready import relied_on

#: Read for every plan: what the checks about the rig itself are judged by, or show.
ALWAYS_READ = (
    "power.source",
    "clock.synchronised",
    "screen.session",
    "cpu.load.others",
    "disk.free",
    "gpu.link.generation",
    "gpu.link.width",
)

#: Every check, in the order in which they are shown.
CHECKS: tuple[tuple[str, Judge], ...] = (
    ("needs", of_plan.needs),
    ("readings", of_plan.relied),
    ("levels", of_plan.levels),
    ("programs", of_plan.programs),
    ("holds", of_rig.holds),
    ("runner", of_rig.runner),
    ("leftovers", of_rig.leftovers),
    ("restart", of_rig.restart),
    ("driver", of_rig.driver),
    ("updates", of_rig.updates),
    ("disk", of_rig.disk),
    ("power", of_rig.power),
    ("clock", of_rig.clock),
    ("sleep", of_rig.sleep),
    ("load", of_rig.load),
    ("reference", of_plan.reference),
    ("screen", of_rig.screen),
    ("link", of_rig.link),
)


def preflight(plan: Plan, seen: Observed) -> tuple[Finding, ...]:
    """Return what every check comes to, in the order of the table."""
    return tuple(finding for _, judge in CHECKS for finding in judge(plan, seen))


def ready(findings: Iterable[Finding]) -> bool:
    """Return whether nothing that was found is in the way of the night."""
    return not any(finding.in_the_way for finding in findings)


def read_for(plan: Plan) -> tuple[str, ...]:
    """Return the names of all readings that the checks judge or show for *plan*."""
    of_levels = (bound.reading for _, bound in of_plan.level_bounds(plan))
    return tuple(dict.fromkeys((*relied_on(plan), *of_levels, *ALWAYS_READ)))

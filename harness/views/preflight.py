"""What was found before a night: for a person, and as JSON.

Pure.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from harness.plan.document import By, Plan
from harness.rig.bounds import Met
from harness.rig.identity import Identity
from harness.run.findings import Finding, Weight
from harness.run.preflight import ready
from harness.views.safety import OPENED_CASE, UNATTENDED

SCHEMA = "harness.preflight/1"
_LEAST_COLUMNS, _MOST_COLUMNS = 60, 110
_ORDER = (Met.NOT_MET, Met.NOT_MEASURED, Met.MET)


def as_text(
    plan: Plan, findings: Sequence[Finding], *, file: str, until: datetime, columns: int
) -> Iterator[str]:
    """Yield the findings as lines: what is in the way first, each with what to do."""
    width = max(_LEAST_COLUMNS, min(columns, _MOST_COLUMNS))
    yield f"{plan.name}: this rig, from now until {until:%a %Y-%m-%d %H:%M %Z}".rstrip()
    for title, of_title in _sections(findings):
        if of_title:
            yield ""
            yield title
        for finding in of_title:
            yield from _lines(finding, file=file, width=width)
    if words := safety(plan):
        yield ""
        yield "Before the rig is left alone, or opened:"
        for line in words:
            yield from textwrap.wrap(line, width, initial_indent="  - ", subsequent_indent="    ")
    yield ""
    yield summary(findings)


def _sections(findings: Sequence[Finding]) -> tuple[tuple[str, list[Finding]], ...]:
    ordered = sorted(findings, key=lambda finding: _ORDER.index(finding.state))
    told = [finding for finding in ordered if finding.weight is Weight.INFORMATION]
    judged = [finding for finding in ordered if finding.weight is not Weight.INFORMATION]
    return (
        ("In the way:", [finding for finding in judged if finding.in_the_way]),
        ("Not in the way:", [finding for finding in judged if not finding.in_the_way]),
        ("To know:", told),
    )


def _lines(finding: Finding, *, file: str, width: int) -> Iterator[str]:
    state = "" if finding.weight is Weight.INFORMATION else finding.state.value
    head = f"  {state:<14}{finding.check:<11}"
    indent = " " * len(head)
    yield from textwrap.wrap(finding.what, width, initial_indent=head, subsequent_indent=indent)
    if finding.at is not None and finding.state is not Met.MET:
        yield f"{indent}{file}:{finding.at.line}:{finding.at.column}"
    if finding.do:
        yield from textwrap.wrap(
            f"do: {finding.do}", width, initial_indent=indent, subsequent_indent=indent + "    "
        )


def summary(findings: Sequence[Finding]) -> str:
    """Return in one line how many are met, and whether the rig is ready."""
    judged = [finding for finding in findings if finding.weight is not Weight.INFORMATION]
    counts = {state: sum(finding.state is state for finding in judged) for state in _ORDER}
    told = ", ".join(f"{number} {state.value}" for state, number in counts.items() if number)
    if ready(findings):
        return f"{told}. The rig is ready."
    number = sum(finding.in_the_way for finding in findings)
    stand = "1 of these stands" if number == 1 else f"{number} of these stand"
    return f"{told}. The rig is NOT ready: {stand} in the way."


def safety(plan: Plan) -> tuple[str, ...]:
    """Return the words of caution that *plan* asks for: a night alone, a case to be opened."""
    by_person = any(condition.by is By.OPERATOR for condition in plan.conditions)
    opened = any(condition.opens_case for condition in plan.conditions)
    return (
        *(UNATTENDED if plan.night is not None or by_person else ()),
        *(OPENED_CASE if opened else ()),
    )


def as_json(
    plan: Plan,
    findings: Sequence[Finding],
    *,
    until: datetime,
    identity: Identity,
    plan_hash: str,
) -> dict[str, Any]:
    """Return the object that ``--json`` shows."""
    return {
        "schema": SCHEMA,
        "plan": plan.name,
        "plan_hash": plan_hash,
        "ready": ready(findings),
        "until": until.isoformat(),
        "checks": [
            {
                "check": finding.check,
                "state": finding.state.value,
                "weight": finding.weight.value,
                "what": finding.what,
                "do": finding.do or None,
                "line": finding.at.line if finding.at is not None else None,
                "column": finding.at.column if finding.at is not None else None,
            }
            for finding in findings
        ],
        "fingerprint": {"fields": dict(identity.fields), "unread": dict(identity.unread)},
        "safety": list(safety(plan)),
    }

"""The checks of preflight that a plan asks for: needs, readings, levels, programs, reference.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterator

from harness.plan.document import At, Bound, Plan, Title
from harness.plan.words import words
from harness.rig.bounds import Met, met
from harness.rig.readings import Reading, shown
from harness.rig.survey import Wanted
from harness.run.findings import Finding, Observed, Weight
from harness.run.ready import not_ready

_SENSORS = "see what can be read with harness sensors"


def needs(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge what the plan needs of the rig before its first pass."""
    for bound in plan.rig.needs:
        reading = seen.readings[bound.reading]
        yield Finding(
            check="needs",
            state=met(bound, reading),
            what=_as_it_is(bound, reading),
            do=_do(bound, reading),
            weight=Weight.MUST,
            at=bound.at,
        )


def relied(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge whether every reading is there that gates, guards and limits rely on."""
    names: dict[str, tuple[str, Bound]] = {}
    for what, bound in (
        *(("gate", gate.bound) for gate in plan.gates),
        *(("guard", guard.bound) for guard in plan.guards),
        *(("limit", limit.bound) for limit in plan.limits or ()),
        *(
            ("limit", limit.bound)
            for condition in plan.conditions
            for level in condition.levels
            for limit in level.limits
        ),
    ):
        names.setdefault(bound.reading, (what, bound))
    for name, (what, bound) in names.items():
        reading = seen.readings[name]
        there = reading.measured
        yield Finding(
            check="readings",
            state=Met.MET if there else Met.NOT_MEASURED,
            what=f"a {what} relies on {name}: {shown(reading)}",
            do="" if there else f"{_SENSORS}; take the {what} out, or name a reading that is there",
            weight=Weight.MUST,
            at=bound.at,
        )
    # What else a run would be refused for is said in the words of that refusal.
    for problem in not_ready(plan, seen.readings, file=""):
        if problem.code not in ("need-not-met", "reading-not-measured"):
            yield Finding(
                check="readings",
                state=Met.NOT_MEASURED,
                what=problem.what,
                do=problem.do,
                weight=Weight.MUST,
            )


def levels(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge whether what levels expect and need can be read; they are held to it later."""
    lost = [
        (level, bound, seen.readings[bound.reading])
        for level, bound in level_bounds(plan)
        if not seen.readings[bound.reading].measured
    ]
    for level, bound, reading in lost:
        yield Finding(
            check="levels",
            state=Met.NOT_MEASURED,
            what=f"level {level}: {_as_it_is(bound, reading)}",
            do=f"{_SENSORS}; a level whose readings are missing can never be verified",
            weight=Weight.MUST,
            at=bound.at,
        )
    names = dict.fromkeys(bound.reading for _, bound in level_bounds(plan))
    there = [name for name in names if seen.readings[name].measured]
    if there:
        as_now = ", ".join(f"{name} {shown(seen.readings[name])}" for name in there)
        yield Finding(
            check="levels",
            state=Met.MET,
            what=f"levels are verified by readings that are there: {as_now}",
            weight=Weight.MUST,
        )


def programs(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge whether the programs and files are there that the plan names."""
    missing = [each for each in seen.looked_for if each.problem]
    for each in missing:
        yield Finding(
            check="programs",
            state=Met.NOT_MET,
            what=f"{each.what}: {each.name}: {each.problem}",
            do="put it there, or correct the plan: a program without a folder in its name is "
            "looked for in PATH, everything else from the folder where harness is started",
            weight=Weight.MUST,
            at=At(line=each.line, column=each.column)
            if each.line is not None and each.column is not None
            else None,
        )
    if not missing:
        count = len({each.name for each in seen.looked_for})
        yield Finding(
            check="programs",
            state=Met.MET,
            what="1 program of the plan is there"
            if count == 1
            else f"{count} programs and files of the plan are there",
            weight=Weight.MUST,
        )


def reference(plan: Plan, seen: Observed) -> Iterator[Finding]:
    """Judge the latest value of the reference cell by its own history, where the plan has one."""
    if plan.reference is None:
        return
    found = seen.reference
    if found.value is None:
        yield Finding(check="reference", state=Met.NOT_MEASURED, what=found.why)
        return
    v = found.value
    usual = v.low <= v.latest <= v.high
    yield Finding(
        check="reference",
        state=Met.MET if usual else Met.NOT_MET,
        what=f"reference cell: {v.figure} was {v.latest:.1f} {v.unit} at the last; by {v.values} "
        f"earlier values {v.low:.1f} to {v.high:.1f} {v.unit} is usual",
        do=""
        if usual
        else "find what has changed on the rig (memory profile, cooling, power plan, background "
        "work) before a night is spent on it; see its history with harness drift",
    )


def level_bounds(plan: Plan) -> Iterator[tuple[str, Bound]]:
    """Return what levels expect and need, each with the level's name."""
    for condition in plan.conditions:
        for level in condition.levels:
            for bound in (*level.expect, *level.needs):
                yield f"{condition.name} {level.name}", bound


def wanted(plan: Plan) -> tuple[Wanted, ...]:
    """Return every program and file that *plan* names, each once."""
    found: dict[tuple[str, str], Wanted] = {}
    for each in _all(plan):
        name = each.path if each.command is None else each.command.argv[0]
        found.setdefault((name, "file" if each.command is None else "program"), each)
    return tuple(found.values())


def _all(plan: Plan) -> Iterator[Wanted]:
    for condition in plan.conditions:
        for level in condition.levels:
            for step, command in (("command", level.command), ("put_back", level.put_back)):
                if command is not None:
                    what = f"level {condition.name} {level.name}, {step}"
                    yield Wanted(what=what, command=command)
    for title in plan.titles:
        yield from _of_title(title)


def _of_title(title: Title) -> Iterator[Wanted]:
    name = f"title {title.title}"
    yield Wanted(what=f"{name}, command", command=title.command)
    for step, commands in (("prepare", title.prepare), ("tidy", title.tidy)):
        for number, command in enumerate(commands, 1):
            yield Wanted(what=f"{name}, {step} {number}", command=command)
    for step, one in (("recorder", title.recorder), ("build", title.build_command)):
        if one is not None:
            yield Wanted(what=f"{name}, {step}", command=one)
    for path in title.build_files:
        yield Wanted(what=f"{name}, build", path=path)
    if title.files is not None:
        for source, _ in title.files.put:
            yield Wanted(what=f"{name}, files", path=source)


def _as_it_is(bound: Bound, reading: Reading) -> str:
    return f"{bound.reading} must be {words(bound)}; it is {shown(reading)}"


def _do(bound: Bound, reading: Reading) -> str:
    match met(bound, reading):
        case Met.MET:
            return ""
        case Met.NOT_MET:
            return "bring the rig to what the plan needs, or correct rig.needs"
        case Met.NOT_MEASURED:
            return f"{_SENSORS}; give the rights to read it, or take it out of rig.needs"

"""The text of a plan file that asks for a given plan, every text in quotes."""

from __future__ import annotations

from typing import Any

from harness.plan import document as d


def written(plan: d.Plan) -> str:
    """Return the text of a plan file that asks for *plan*, every text in quotes."""
    return "\n".join(f"{key}: {_flow(value)}" for key, value in _plan(plan).items()) + "\n"


class _Plain(str):
    """A text to be written without quotes."""


def _flow(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_flow(k)}: {_flow(v)}" for k, v in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(_flow, value)) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, _Plain)):
        return str(value)
    return '"\\t"' if value == "\t" else "'" + str(value).replace("'", "''") + "'"


def _given(**keys: Any) -> dict[str, Any]:
    """Return the keys that say something."""
    return {
        key.rstrip("_"): value for key, value in keys.items() if value is not None and value != ()
    }


def _s(seconds: float | None) -> _Plain | None:
    return None if seconds is None else _Plain(f"{seconds:g} s")


def _percent(share: float | None) -> _Plain | None:
    return None if share is None else _Plain(f"{share * 100:g} %")


def _bound(bound: d.Bound) -> dict[str, Any]:
    def value(of: Any) -> Any:
        if of is None or isinstance(of, (bool, str)):
            return of
        return _Plain(f"{of:g} {bound.unit}".strip())

    return _given(
        reading=bound.reading,
        at_least=value(bound.at_least),
        at_most=value(bound.at_most),
        is_=value(bound.equals),
        holds=bound.holds,
    )


def _step(command: d.Command | None) -> dict[str, Any] | None:
    if command is None:
        return None
    return {"command": list(command.argv), "time_limit": _s(command.time_limit_s)}


def _level(level: d.Level) -> dict[str, Any]:
    return _given(
        say=level.say or None,
        command=_step(level.command),
        put_back=_step(level.put_back),
        expect=tuple(map(_bound, level.expect)),
        needs=tuple(map(_bound, level.needs)),
        limits=tuple(_bound(limit.bound) for limit in level.limits),
    )


def _sizes(size: float | tuple[tuple[str, float], ...] | None) -> Any:
    if isinstance(size, tuple):
        return {name: _Plain(f"{each:.0f} bytes") for name, each in size}
    return None if size is None else _Plain(f"{size:.0f} bytes")


def _title(title: d.Title) -> dict[str, Any]:
    build = _given(files=title.build_files, command=_step(title.build_command))
    f = title.frames
    return _given(
        title=title.title,
        scene=title.scene,
        settings=title.settings,
        command=list(title.command.argv),
        time_limit=_s(title.command.time_limit_s),
        prepare=tuple(map(_step, title.prepare)),
        tidy=tuple(map(_step, title.tidy)),
        collect=title.collect,
        build=build or None,
        cut=_given(
            from_=_s(title.cut.from_s),
            length=_s(title.cut.length_s),
            tolerance=_percent(title.cut.tolerance),
        ),
        frames=f and _given(
            file=f.file, column=f.column, unit=f.unit, values=f.values, delimiter=f.delimiter,
            decimal=f.decimal, thousands=f.thousands, encoding=f.encoding,
            header=_Plain("none") if f.header == "none" else f.header, footer=f.footer,
            where=dict(f.where) or None,
            kinds=f.kinds_column and {"column": f.kinds_column, "count": f.kinds},
            counter=f.counter,
        ),
        figures={
            figure.name: _given(
                from_=figure.source.value, better=figure.better.value, pattern=figure.pattern
            )
            for figure in title.figures
        },
        bytes_per_frame=_sizes(title.bytes_per_frame),
    )  # fmt: skip


def _clock(minute: int) -> _Plain:
    return _Plain(f"{minute // 60:02}:{minute % 60:02}")


def _plan(plan: d.Plan) -> dict[str, Any]:
    passes, order, night, person = plan.passes, plan.order, plan.night, plan.person
    return _given(
        plan=plan.name,
        about=plan.about or None,
        procedure=plan.procedure or None,
        rig=_given(
            needs=tuple(map(_bound, plan.rig.needs)), settle=_s(plan.rig.settle_s)
        ),
        facts=dict(plan.facts) or None,
        person=person and {"hours": f"{_clock(person.from_minute)}-{_clock(person.to_minute)}"},
        conditions={
            c.name: _given(
                by=c.by.value,
                opens_case=c.opens_case or None,
                reboot=c.reboot,
                changes=c.changes,
                levels={level.name: _level(level) for level in c.levels},
            ) if c.by is d.By.OPERATOR else _given(
                by=c.by.value,
                changes=c.changes,
                levels={level.name: _level(level) for level in c.levels},
            )
            for c in plan.conditions
        } or None,
        settings={setting.name: dict(setting.values) for setting in plan.settings},
        titles=tuple(map(_title, plan.titles)),
        passes={
            "warm_up": {
                "passes": passes.warm_up.passes,
                "when": [when.value for when in passes.warm_up.when],
            },
            "keep": passes.keep,
            "at_most": passes.at_most,
            "look_first": passes.look_first,
        },
        gates=tuple(
            {
                **_bound(gate.bound),
                "for": _s(gate.for_s),
                "give_up": _s(gate.give_up_s),
                "then": gate.then.value,
            }
            for gate in plan.gates
        ),
        guards=tuple(
            {**_bound(g.bound), **_given(share=_percent(g.share), for_=_s(g.for_s))}
            for g in plan.guards
        ),
        limits=(
            _Plain("none") if plan.limits_none
            else None if plan.limits is None
            else tuple(_bound(limit.bound) for limit in plan.limits)
        ),
        discard=tuple(
            _given(rule=rule.rule, on=rule.on, least=rule.least, alpha=_percent(rule.alpha))
            for rule in plan.discard
        ),
        order=_given(
            by=order.by.value, rounds=order.rounds, rounds_within=order.rounds_within,
            visits=order.visits, seed=order.seed,
        ),
        faults={
            "again": plan.faults.again,
            "then": plan.faults.then.value,
            "stop_after": plan.faults.stop_after,
        },
        compare={
            "same": plan.compare.same,
            "band": _percent(plan.compare.band),
            "low": plan.compare.low,
        },
        night=night and _given(
            start=_clock(night.start_minute), end=_clock(night.end_minute),
            days=night.days, zone=night.zone or None,
        ),
    )  # fmt: skip

"""Values that were read and agree -> the frozen plan.

Pure. Nothing can go wrong here: what does not fit was refused by ``harness.plan.check``.
"""

from __future__ import annotations

from yaml.nodes import Node

from harness.plan import document as d
from harness.plan import fields as f
from harness.plan import history_fields as h
from harness.plan.bounds import MADE
from harness.plan.build_history import enough, reference, reuse
from harness.plan.build_titles import step, titles
from harness.plan.kinds import Values
from harness.plan.mappings import Named
from harness.plan.rule_agreement import (
    DEFAULT_FIGURE,
    DEFAULT_GIVE_UP_S,
    DEFAULT_KEEP,
    DEFAULT_STEADY,
    default_at_most,
)


def build(values: Values) -> d.Plan:
    """Return the plan that *values* say; they hold no errors."""
    limits = values.get(f.LIMITS)
    facts = values.get(f.FACTS)
    return d.Plan(
        name=values.need(f.PLAN),
        titles=titles(values),
        settings=_settings(values.need(f.SETTINGS)),
        conditions=_conditions(values.get(f.CONDITIONS)),
        passes=_passes(values.need(f.PASSES)),
        gates=tuple(map(_gate, values.of(f.GATES, ()))),
        guards=tuple(map(_guard, values.of(f.GUARDS, ()))),
        limits=_limits(limits) if isinstance(limits, tuple) else None,
        limits_none=limits == "none",
        discard=tuple(map(_rule, values.of(f.DISCARD, ()))),
        order=_order(values.get(f.ORDER)),
        faults=_faults(values.get(f.FAULTS)),
        compare=_compare(values.get(f.COMPARE)),
        rig=_rig(values.get(f.RIG)),
        person=_person(values.get(f.PERSON)),
        night=_night(values.get(f.NIGHT)),
        about=values.of(f.ABOUT, "").strip(),
        procedure=values.of(f.PROCEDURE, ""),
        enough=enough(values.get(h.ENOUGH)),
        reference=reference(values),
        reuse=reuse(values.get(h.REUSE)),
        extends=values.of(h.EXTENDS, ""),
        facts=tuple(facts.parts) if facts is not None else (),
    )


def at(node: Node) -> d.At:
    """Return where *node* stands."""
    return d.At(node.start_mark.line + 1, node.start_mark.column + 1)


def _settings(named: Named[Named[str]]) -> tuple[d.Setting, ...]:
    return tuple(
        d.Setting(name=name, values=tuple(part.parts), at=at(named.keys[name]))
        for name, part in named.parts
    )


def _bound(values: Values) -> d.Bound:
    made = values.need(MADE)
    return d.Bound(
        reading=made.reading,
        unit=made.unit,
        at_least=made.at_least,
        at_most=made.at_most,
        equals=made.equals,
        holds=made.holds,
        at=at(values.node),
    )


def _bounds(parts: tuple[Values, ...]) -> tuple[d.Bound, ...]:
    return tuple(map(_bound, parts))


def _limits(parts: tuple[Values, ...]) -> tuple[d.Limit, ...]:
    return tuple(d.Limit(bound=_bound(part), at=at(part.node)) for part in parts)


def _gate(values: Values) -> d.Gate:
    return d.Gate(
        bound=_bound(values),
        for_s=values.of(f.GATE_FOR, 0.0),
        give_up_s=values.of(f.GATE_GIVE_UP, DEFAULT_GIVE_UP_S),
        then=d.Then(values.of(f.GATE_THEN, "mark")),
        preload=values.of(f.GATE_PRELOAD, False),
        at=at(values.node),
    )


def _guard(values: Values) -> d.Guard:
    return d.Guard(
        bound=_bound(values),
        share=values.get(f.GUARD_SHARE),
        for_s=values.get(f.GUARD_FOR),
        at=at(values.node),
    )


def _conditions(named: Named[Values] | None) -> tuple[d.Condition, ...]:
    if named is None:
        return ()
    return tuple(
        d.Condition(
            name=name,
            by=d.By(values.need(f.BY)),
            levels=_levels(values.need(f.LEVELS)),
            opens_case=values.of(f.OPENS_CASE, False),
            reboot=values.of(f.REBOOT, False),
            changes=values.of(f.CHANGES, ()),
            at=at(named.keys[name]),
        )
        for name, values in named.parts
    )


def _levels(named: Named[Values]) -> tuple[d.Level, ...]:
    return tuple(
        d.Level(
            name=name,
            say=values.of(f.SAY, "").strip(),
            command=step(values.get(f.LEVEL_COMMAND), values.place(f.LEVEL_COMMAND)),
            put_back=step(values.get(f.PUT_BACK), values.place(f.PUT_BACK)),
            expect=_bounds(values.of(f.EXPECT, ())),
            needs=_bounds(values.of(f.NEEDS, ())),
            limits=_limits(values.of(f.LEVEL_LIMITS, ())),
            at=at(named.keys[name]),
        )
        for name, values in named.parts
    )


def _passes(values: Values) -> d.Passes:
    keep = values.of(f.KEEP, DEFAULT_KEEP)
    warm_up = values.get(f.WARM_UP)
    made = d.WarmUp()
    if isinstance(warm_up, int):
        made = d.WarmUp(passes=warm_up)
    elif warm_up is not None:
        when = warm_up.get(f.WARM_UP_WHEN)
        made = d.WarmUp(
            passes=warm_up.of(f.WARM_UP_PASSES, d.WarmUp().passes),
            when=d.WarmUp().when if when is None else tuple(map(d.WarmUpWhen, when)),
            within=warm_up.of(f.WARM_UP_WITHIN, DEFAULT_STEADY)
            if f.WARM_UP_UNTIL.name in warm_up.nodes
            else None,
            at_most=warm_up.of(f.WARM_UP_MOST, d.WarmUp().at_most),
        )
    return d.Passes(
        warm_up=made,
        keep=keep,
        at_most=values.of(f.AT_MOST, default_at_most(keep)),
        look_first=values.of(f.LOOK_FIRST, False),
        at=at(values.node),
    )


def _rule(values: Values) -> d.DiscardRule:
    return d.DiscardRule(
        rule=values.need(f.RULE),
        on=values.of(f.ON, DEFAULT_FIGURE),
        more_than=values.get(f.MORE_THAN),
        alpha=values.get(f.ALPHA),
        least=values.get(f.LEAST),
        floor=values.get(f.FLOOR),
        side=d.Side(values.of(f.SIDE, d.Side.BOTH.value)),
        at_most=values.of(f.DISCARD_MOST, 1),
        at=at(values.node),
    )


def _order(values: Values | None) -> d.Order:
    if values is None:
        return d.Order()
    return d.Order(
        by=d.OrderBy(values.of(f.ORDER_BY, d.Order().by.value)),
        rounds=values.get(f.ROUNDS),
        rounds_within=values.get(f.ROUNDS_WITHIN),
        visits=values.of(f.VISITS, 1),
        seed=values.of(f.SEED, 1),
    )


def _faults(values: Values | None) -> d.Faults:
    if values is None:
        return d.Faults()
    return d.Faults(
        again=values.of(f.FAULT_AGAIN, 1),
        then=d.FaultThen(values.of(f.FAULT_THEN, d.Faults().then.value)),
        stop_after=values.of(f.STOP_AFTER, 3),
    )


def _compare(values: Values | None) -> d.Compare:
    if values is None:
        return d.Compare()
    return d.Compare(
        same=values.of(f.SAME, ()),
        band=values.of(f.BAND, d.Compare().band),
        low=values.of(f.LOW, d.Compare().low),
    )


def _rig(values: Values | None) -> d.Rig:
    if values is None:
        return d.Rig()
    return d.Rig(
        gpu=values.get(f.GPU),
        needs=_bounds(values.of(f.NEEDS, ())),
        settle_s=values.of(f.SETTLE, 0.0),
    )


def _person(values: Values | None) -> d.Person | None:
    if values is None:
        return None
    start, end = values.need(f.PERSON_HOURS)
    return d.Person(from_minute=start, to_minute=end)


_WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _night(values: Values | None) -> d.Night | None:
    if values is None:
        return None
    given = values.get(f.NIGHT_DAYS)
    chosen: set[str] = set(_WEEK) if given is None else set()
    for part in given or ():
        chosen.update((part,) if isinstance(part, str) else part)
    return d.Night(
        start_minute=values.need(f.NIGHT_START),
        end_minute=values.need(f.NIGHT_END),
        days=tuple(day for day in _WEEK if day in chosen),
        zone=values.of(f.NIGHT_ZONE, ""),
    )

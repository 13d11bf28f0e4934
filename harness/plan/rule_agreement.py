"""What the parts of a plan say against each other: levels, passes, gates, rules, the night.

Pure. Looks at what fitted by itself, and goes on where something else did not.
"""

from __future__ import annotations

from collections.abc import Iterable

from yaml.nodes import Node, SequenceNode

from harness.plan import fields as f
from harness.plan import title_fields as t
from harness.plan.agreement import names_differ, step_fits
from harness.plan.bounds import MADE
from harness.plan.kinds import Desk, Field, Values
from harness.plan.mappings import Named
from harness.plan.names import nearest, suggestion
from harness.plan.rule_levels import levels_add_up
from harness.plan.vocabulary import KnownRule
from harness.units import shown, span

DEFAULT_KEEP = 3
DEFAULT_FIGURE = "average_fps"
DEFAULT_GIVE_UP_S = 900.0
DEFAULT_STEADY = 0.01


def default_at_most(keep: int) -> int:
    """Return how many counted passes a cell may take where the plan does not say."""
    return keep + 2


def conditions_agree(plan: Values, desk: Desk, *, used: frozenset[str]) -> None:
    """Report conditions whose levels cannot be brought about, or make no difference.

    *used* are the placeholders that commands of a pass use.
    """
    conditions = plan.get(f.CONDITIONS)
    if conditions is None:
        return
    names_differ(conditions.keys, "conditions", desk)
    for name, condition in conditions.parts:
        by, levels = condition.get(f.BY), condition.get(f.LEVELS)
        fields_known(condition, f.CHANGES, desk)
        if levels is None:
            continue
        names_differ(levels.keys, f"levels of {name}", desk)
        for level, part in levels.parts:
            step_fits(part.get(f.LEVEL_COMMAND), part.place(f.LEVEL_COMMAND), desk)
            step_fits(part.get(f.PUT_BACK), part.place(f.PUT_BACK), desk)
            if by == "operator":
                _for_a_person(f"{name}.{level}", part, desk)
            elif by == "command":
                _for_a_command(f"{name}.{level}", part, desk)
        if by == "command":
            _by_command(name, condition, levels, used, conditions.keys[name], desk)


def _for_a_person(path: str, level: Values, desk: Desk) -> None:
    if f.SAY.name not in level.nodes:
        what = f"the level {path} is brought about by a person: say is needed"
        do = 'write say: "…", what the person is to do, in full sentences'
        desk.error(level.node, "say-needed", what, do)
    for field in (f.LEVEL_COMMAND, f.PUT_BACK):
        if field.name in level.nodes:
            what = f"the level {path} is brought about by a person and has a {field.name}"
            desk.error(level.place(field), "unused-key", what, "write by: command, or take it out")


def _for_a_command(path: str, level: Values, desk: Desk) -> None:
    if f.SAY.name in level.nodes:
        what = f"the level {path} is brought about by a command: nobody reads say"
        desk.error(level.place(f.SAY), "unused-key", what, "write by: operator, or take it out")
    if f.PUT_BACK.name in level.nodes and f.LEVEL_COMMAND.name not in level.nodes:
        what = f"the level {path} has put_back and no command: there is nothing to put back"
        desk.error(level.place(f.PUT_BACK), "unused-key", what, "write its command, too")


def _by_command(
    name: str,
    condition: Values,
    levels: Named[Values],
    used: frozenset[str],
    node: Node,
    desk: Desk,
) -> None:
    for field in (f.OPENS_CASE, f.REBOOT):
        if condition.get(field):
            what = f"{name}.{field.name} is for a person's step, and {name} is by command"
            do = "write by: operator and say what is to be done, or take it out"
            desk.error(condition.place(field), "unused-key", what, do)
    parts = [part for _, part in levels.parts]
    acting = [part for part in parts if part.nodes.keys() & {"command", "expect"}]
    if not acting and name not in used and len(levels.keys) > 1:
        what = f"the levels of {name} make no difference: no command sets or uses them"
        do = f"give the levels commands, or hand the level to a title as {{{name}}}"
        desk.error(node, "level-without-effect", what, do)
        return
    commanded = [part for part in parts if f.LEVEL_COMMAND.name in part.nodes]
    for level, part in levels.parts:
        if commanded and part not in acting:
            what = f"the level {name}.{level} has no command: it stays as another level left it"
            desk.warn(part.node, "level-without-command", what, "give it a command of its own")


def fields_known(values: Values, field: Field[tuple[str, ...]], desk: Desk) -> None:
    """Report names that are neither readings nor other fields of the fingerprint."""
    known = (*desk.vocabulary.fields, *desk.vocabulary.readings)
    node = values.nodes.get(field.name)
    for entry in node.value if isinstance(node, SequenceNode) else ():
        if isinstance(entry.value, str) and entry.value and entry.value not in known:
            near = nearest(entry.value, known)
            what = f"the fingerprint has no field {shown(entry.value)}"
            what += f"; the nearest is {near}" if near else ""
            desk.error(entry, "unknown-field", what, suggestion(entry.value, known))


def passes_agree(plan: Values, desk: Desk) -> None:
    """Report counts that no cell can reach, and an order that cannot be carried out."""
    passes, order = plan.get(f.PASSES), plan.get(f.ORDER)
    if passes is not None:
        keep = passes.of(f.KEEP, DEFAULT_KEEP)
        at_most = passes.get(f.AT_MOST)
        if at_most is not None and keep > at_most:
            what = f"keep {keep} is more than at_most {at_most}: no cell could ever be accepted"
            do = f"write at_most: {keep} or more, or a smaller keep"
            desk.error(passes.place(f.KEEP), "keep-above-at-most", what, do)
        visits = order.get(f.VISITS) if order is not None else None
        if order is not None and visits is not None and visits > keep:
            what = f"visits {visits} is more than keep {keep}: some visits would measure nothing"
            do = f"write visits: {keep} or fewer, or a larger keep"
            desk.error(order.place(f.VISITS), "visits-above-keep", what, do)
        _warm_up_agrees(passes.get(f.WARM_UP), desk)
    within = order.get(f.ROUNDS_WITHIN) if order is not None else None
    conditions = plan.get(f.CONDITIONS)
    names = conditions.keys if conditions is not None else {}
    if order is not None and within is not None and within not in names:
        near = nearest(within, names)
        what = f"there is no condition {shown(within)}" + (
            f"; the nearest is {near}" if near else ""
        )
        desk.error(
            order.place(f.ROUNDS_WITHIN), "unknown-condition", what, suggestion(within, names)
        )
    compare = plan.get(f.COMPARE)
    if compare is not None:
        fields_known(compare, f.SAME, desk)


def _warm_up_agrees(warm_up: int | Values | None, desk: Desk) -> None:
    if not isinstance(warm_up, Values):
        return
    steady = f.WARM_UP_UNTIL.name in warm_up.nodes
    unused = (f.WARM_UP_PASSES,) if steady else (f.WARM_UP_WITHIN, f.WARM_UP_MOST)
    for field in unused:
        if field.name in warm_up.nodes:
            what = f"passes.warm_up has {field.name} and "
            what += "until: steady, which counts for itself" if steady else "no until: steady"
            do = "take one of them out" if steady else "write until: steady, or take it out"
            desk.error(warm_up.place(field), "unused-key", what, do)


def gates_agree(plan: Values, desk: Desk) -> None:
    """Report gates that give up before they can open, and preloads that warm nothing."""
    for place, gate in enumerate(plan.of(f.GATES, ()), start=1):
        give_up = gate.of(f.GATE_GIVE_UP, DEFAULT_GIVE_UP_S)
        hold = gate.get(f.GATE_FOR)
        if hold is not None and hold >= give_up:
            what = (
                f"gates[{place}] can never open: it must hold for {span(hold)} "
                f"and gives up after {span(give_up)}"
            )
            desk.error(gate.place(f.GATE_FOR), "gate-never-opens", what, "write a longer give_up")
        made = gate.get(MADE)
        warms = made is None or (made.unit == "°C" and made.at_least is not None)
        if gate.get(f.GATE_PRELOAD) and not warms:
            what = f"gates[{place}] has preload, and no lower edge of a temperature to warm to"
            do = "write between or at_least for a temperature, or take preload out"
            desk.error(gate.place(f.GATE_PRELOAD), "unused-key", what, do)


def rules_agree(plan: Values, desk: Desk) -> None:
    """Report discard rules that are unknown, cannot fire, or are told what they do not know."""
    passes = plan.get(f.PASSES)
    keep = passes.of(f.KEEP, DEFAULT_KEEP) if passes is not None else None
    most = passes.get(f.AT_MOST) if passes is not None else None
    levels_add_up(plan, desk, keep=keep)
    for rule in plan.of(f.DISCARD, ()):
        name = rule.get(f.RULE)
        _figure_known(rule, plan, desk)
        if name is None:
            continue
        known = desk.vocabulary.rules.get(name)
        if known is None:
            near = nearest(name, desk.vocabulary.rules)
            what = f"there is no rule {shown(name)}" + (f"; the nearest is {near}" if near else "")
            do = suggestion(name, desk.vocabulary.rules)
            desk.error(rule.place(f.RULE), "unknown-rule", what, do)
            continue
        _keys_fit(name, known, rule, desk)
        _can_fire(name, known, rule, desk, keep=keep, most=most)


def _keys_fit(name: str, known: KnownRule, rule: Values, desk: Desk) -> None:
    for key, node in rule.nodes.items():
        if key not in ("rule", "on", "at_most", *known.takes):
            what = f"the rule {name} does not know {key}"
            takes = ", ".join(("on", *known.takes, "at_most"))
            desk.error(node, "unused-key", what, f"take it out; {name} takes {takes}")
    for key in known.needs:
        if key not in rule.nodes:
            what = f"the rule {name} needs the key {key}"
            desk.error(rule.node, "key-missing", what, f"write {key}")
    alpha = rule.get(f.ALPHA)
    if alpha is not None and known.alphas and alpha not in known.alphas:
        levels = ", ".join(f"{100 * level:g} %" for level in known.alphas)
        what = f"the rule {name} has no critical value for alpha {100 * alpha:g} %"
        desk.error(rule.place(f.ALPHA), "unknown-alpha", what, f"write one of {levels}")


def _can_fire(
    name: str, known: KnownRule, rule: Values, desk: Desk, *, keep: int | None, most: int | None
) -> None:
    least = rule.get(f.LEAST)
    start = known.discards_from if least is None else least
    if least is not None and least < known.discards_from:
        what = f"{name} needs at least {known.least} passes, and discards from "
        what += f"{known.discards_from} on: least {least} is too few"
        do = f"write least: {known.discards_from} or more; below that the rule marks"
        desk.error(rule.place(f.LEAST), "rule-cannot-fire", what, do)
    elif keep is not None and keep < known.least:
        what = f"{name} needs at least {known.least} passes, and keep is {keep}: it finds nothing"
        do = f"write keep: {known.least} or more, or take the rule out"
        desk.warn(rule.place(f.RULE), "rule-cannot-fire", what, do)
    elif keep is not None and keep < start:
        what = f"{name} discards from {start} passes on, and keep is {keep}: it only marks"
        do = f"write keep: {start} or more if passes are to be discarded"
        desk.warn(rule.place(f.RULE), "rule-only-marks", what, do)
    elif keep is not None and most is not None and most <= keep:
        what = f"{name} may discard, and passes.at_most leaves no pass to replace it: the cell "
        what += "would end short"
        do = f"write passes.at_most: {keep + rule.of(f.DISCARD_MOST, 1)} or more"
        desk.warn(rule.place(f.RULE), "discard-not-replaced", what, do)


def _figure_known(rule: Values, plan: Values, desk: Desk) -> None:
    if f.ON.name in rule.nodes and rule.get(f.ON) is None:
        return
    on = rule.of(f.ON, DEFAULT_FIGURE)
    titles = plan.of(f.TITLES, ())
    frames = any(t.FRAMES.name in title.nodes for title in titles)
    own = [name for title in titles for name in _figure_names(title)]
    known = [*(desk.vocabulary.figures if frames else ()), *own]
    if on not in known and titles:
        near = nearest(on, known)
        what = f"no title gives a figure {shown(on)}" + (f"; the nearest is {near}" if near else "")
        desk.error(rule.place(f.ON), "unknown-figure", what, suggestion(on, known))


def _figure_names(title: Values) -> Iterable[str]:
    figures = title.get(t.FIGURES)
    return figures.keys if figures is not None else ()


def night_agrees(plan: Values, desk: Desk) -> None:
    """Report a night that ends as it begins, or that has no limits."""
    night = plan.get(f.NIGHT)
    if night is None:
        return
    start, end = night.get(f.NIGHT_START), night.get(f.NIGHT_END)
    if start is not None and start == end:
        what = "night.start and night.end are the same time"
        desk.error(night.place(f.NIGHT_END), "bad-time", what, "write when the night ends")
    if plan.get(f.LIMITS) == "none":
        what = "a night runs unattended, and limits: none is for attended runs only"
        do = "write a limit, such as {reading: gpu.temperature, at_most: 92 °C}"
        desk.error(plan.place(f.LIMITS), "night-without-limits", what, do)

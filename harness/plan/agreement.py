"""What the parts of a plan say against each other: titles, settings, levels, commands.

Pure. Looks at what fitted by itself, and goes on where something else did not.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping

from yaml.nodes import Node, SequenceNode

from harness.plan import fields as f
from harness.plan import title_fields as t
from harness.plan.bytes_agreement import bytes_agree
from harness.plan.driving import driving_fits, texts_with_braces
from harness.plan.kinds import Desk, Values
from harness.plan.mappings import Named
from harness.plan.names import folded_name, nearest, suggestion
from harness.plan.placeholders import ALWAYS, OUTSIDE, lone_brace, placeholders
from harness.units import shown, span

#: Cells beyond this are a slip of the pen, not a night.
MOST_CELLS = 100_000


def titles_agree(plan: Values, desk: Desk) -> frozenset[str]:
    """Report what titles say against each other, the settings and the conditions.

    Returns:
        The names of all placeholders that commands of a pass use.
    """
    titles = plan.of(f.TITLES, ())
    settings = plan.get(f.SETTINGS)
    conditions = plan.get(f.CONDITIONS)
    known_settings = settings.keys if settings is not None else {}
    values = {name: frozenset(part.keys) for name, part in (settings.parts if settings else ())}
    condition_names = conditions.keys if conditions is not None else {}
    used: set[str] = set()
    placed: set[str] = set()
    for title in titles:
        used.update(title.of(t.TITLE_SETTINGS, ()))
        if settings is not None:
            _settings_known(title, known_settings, desk)
        _measures_something(title, desk)
        _time_limit(title, desk)
        bytes_agree(title, conditions=conditions, desk=desk)
        placed |= _placeholders_known(title, values, condition_names, desk)
    _same_title_twice(titles, desk)
    if settings is not None:
        for name, node in known_settings.items():
            if titles and name not in used and used <= known_settings.keys():
                what = f"no title is measured at the setting {shown(name)}"
                desk.warn(node, "unused-setting", what, "name it in a title, or take it out")
        _same_values_twice(settings, desk)
    _no_two_meanings(settings.parts if settings else [], condition_names, desk)
    return frozenset(placed)


def _same_values_twice(settings: Named[Named[str]], desk: Desk) -> None:
    seen: dict[tuple[tuple[str, str], ...], str] = {}
    for name, part in settings.parts:
        values = tuple(sorted(part.parts))
        other = seen.setdefault(values, name)
        if other != name and values:
            what = f"the settings {shown(other)} and {shown(name)} hold the same values"
            desk.warn(settings.keys[name], "settings-alike", what, "take one of the two out")


def _settings_known(title: Values, known: Mapping[str, Node], desk: Desk) -> None:
    node = title.place(t.TITLE_SETTINGS)
    entries = node.value if isinstance(node, SequenceNode) else []
    seen: set[str] = set()
    for entry in entries:
        name = entry.value
        if not isinstance(name, str):
            continue
        if name not in known:
            near = nearest(name, known)
            what = f"there is no setting {shown(name)}" + (
                f"; the nearest is {near}" if near else ""
            )
            desk.error(entry, "unknown-setting", what, suggestion(name, known))
        elif name in seen:
            what = f"the setting {shown(name)} stands twice in one title"
            desk.error(entry, "setting-twice", what, "take one of the two out")
        seen.add(name)


def _measures_something(title: Values, desk: Desk) -> None:
    if t.FRAMES.name in title.nodes or t.FIGURES.name in title.nodes:
        figures = title.get(t.FIGURES)
        for name, figure in figures.parts if figures is not None else ():
            _figure(name, figure, desk)
        return
    node = title.place(t.TITLE)
    what = "this title has neither frames nor figures: nothing is measured"
    do = "say how its frame log is read, in frames, or where its numbers come from, in figures"
    desk.error(node, "nothing-measured", what, do)


def _figure(name: str, figure: Values, desk: Desk) -> None:
    source = figure.get(t.FIGURE_FROM)
    needed = {
        "wall_time": (),
        "output": (t.FIGURE_PATTERN,),
        "json": (t.FIGURE_FILE, t.FIGURE_AT),
    }
    if source is None:
        return
    for field in (t.FIGURE_PATTERN, t.FIGURE_FILE, t.FIGURE_AT):
        there = field.name in figure.nodes
        if field in needed[source] and not there:
            what = f"the figure {shown(name)} is from {source} and needs the key {field.name}"
            desk.error(figure.node, "key-missing", what, f"write {field.name}: {field.about}")
        elif field not in needed[source] and there:
            what = f"the figure {shown(name)} is from {source}, where {field.name} means nothing"
            desk.error(figure.place(field), "unused-key", what, f"take {field.name} out")
    if source == "wall_time" and figure.get(t.FIGURE_UNIT) not in (None, "s"):
        what = f"the figure {shown(name)} is a wall time, which is in seconds"
        desk.error(figure.place(t.FIGURE_UNIT), "wrong-unit", what, "take unit out, or write s")
    if name in desk.vocabulary.figures:
        what = f"the figure name {shown(name)} is taken: frames give a figure of that name"
        desk.error(figure.node, "name-taken", what, "give it another name")


def _time_limit(title: Values, desk: Desk) -> None:
    cut = title.get(t.CUT)
    length = cut.get(t.CUT_LENGTH) if cut is not None else None
    if cut is None or length is None:
        return
    needed = cut.of(t.CUT_FROM, 0.0) + length
    limit = title.of(t.TIME_LIMIT, t.TITLE_LIMIT_S)
    misread = t.TIME_LIMIT.name in title.nodes and title.get(t.TIME_LIMIT) is None
    if limit <= needed and not misread:
        said = "time_limit is" if t.TIME_LIMIT.name in title.nodes else "time_limit by default is"
        what = f"{said} {span(limit)}, and the scene alone takes {span(needed)}"
        do = "write a time_limit that leaves room for starting and ending the title"
        desk.error(title.place(t.TIME_LIMIT), "time-limit-too-short", what, do)


def _same_title_twice(titles: Iterable[Values], desk: Desk) -> None:
    seen: dict[tuple[str, str], Values] = {}
    folded: dict[tuple[str, str], tuple[str, str]] = {}
    for title in titles:
        name, scene = title.get(t.TITLE), title.get(t.SCENE)
        if name is None or scene is None:
            continue
        node = title.place(t.TITLE)
        key = (name, scene)
        first = seen.get(key)
        if first is not None:
            line, again = first.place(t.TITLE).start_mark.line + 1, node.start_mark.line + 1
            what = f"the same title and scene twice, in lines {line} and {again}"
            do = "give one list of settings to one entry, or name the scenes differently"
            desk.error(node, "same-cell-twice", what, do)
            continue
        seen[key] = title
        alike = (folded_name(name), folded_name(scene))
        other = folded.setdefault(alike, key)
        if other != key:
            line = seen[other].place(t.TITLE).start_mark.line + 1
            what = (
                f"{shown(name)}, {shown(scene)} and line {line} are names equal but for "
                "case, accents or spaces"
            )
            do = "write them alike if they are one, else tell them apart more clearly"
            desk.warn(node, "names-alike", what, do)


def names_differ(names: Mapping[str, Node], noun: str, desk: Desk) -> None:
    """Warn of *names* that are equal but for case, accents or spaces."""
    seen: dict[str, str] = {}
    for name, node in names.items():
        other = seen.setdefault(folded_name(name), name)
        if other != name:
            what = (
                f"the {noun} {shown(name)} and {shown(other)} are names equal but for "
                "case, accents or spaces"
            )
            desk.warn(node, "names-alike", what, "tell them apart more clearly")


def _commands(title: Values) -> Iterator[tuple[Node, tuple[str, ...]]]:
    """Yield every command of a pass with the node of its list."""
    command = title.get(t.COMMAND)
    if command is not None:
        yield title.place(t.COMMAND), command
    for field in (t.PREPARE, t.TIDY):
        for step in title.of(field, ()):
            if isinstance(step, Values):
                argv = step.get(t.STEP_COMMAND)
                if argv is not None:
                    yield step.place(t.STEP_COMMAND), argv
        node = title.nodes.get(field.name)
        for entry in node.value if isinstance(node, SequenceNode) else ():
            if isinstance(entry, SequenceNode) and all(
                isinstance(a.value, str) for a in entry.value
            ):
                yield entry, tuple(a.value for a in entry.value)


def _placeholders_known(
    title: Values,
    values: Mapping[str, frozenset[str]],
    conditions: Mapping[str, Node],
    desk: Desk,
) -> set[str]:
    """Report placeholders without a meaning; return every name that is used."""
    chosen = {name: values[name] for name in title.of(t.TITLE_SETTINGS, ()) if name in values}
    anywhere = frozenset().union(*chosen.values())
    known = {*ALWAYS, *conditions, *anywhere}
    used: set[str] = set()
    texts = [pair for node, argv in _commands(title) for pair in _arguments(node, argv)]
    for place, text in (*texts, *texts_with_braces(title)):
        names = braces(text, place, known, desk)
        used.update(names)
        for name in names:
            if name in anywhere and name not in conditions:
                _has_value(name, chosen, place, desk)
    driving_fits(title, known, desk)
    build = title.get(t.BUILD)
    if build is not None:
        step_fits(build.get(t.BUILD_COMMAND), build.place(t.BUILD_COMMAND), desk)
    return used


def _has_value(name: str, chosen: Mapping[str, frozenset[str]], node: Node, desk: Desk) -> None:
    for setting, names in chosen.items():
        if name not in names:
            what = f"{{{name}}} has no value in the setting {setting}"
            do = f"write {name} in the setting {setting} too"
            desk.error(node, "placeholder-without-value", what, do)
            return


def step_fits(step: tuple[str, ...] | Values | None, node: Node, desk: Desk) -> None:
    """Report placeholders in a command that is not part of a pass."""
    if isinstance(step, Values):
        node, step = step.place(t.STEP_COMMAND), step.get(t.STEP_COMMAND)
    for place, argument in _arguments(node, step or ()):
        braces(argument, place, OUTSIDE, desk)


def _arguments(node: Node, argv: tuple[str, ...]) -> Iterator[tuple[Node, str]]:
    """Yield every argument that holds a brace, with its node."""
    for place, argument in zip(node.value, argv, strict=False):
        if "{" in argument or "}" in argument:
            yield place, argument


def braces(argument: str, node: Node, known: Collection[str], desk: Desk) -> tuple[str, ...]:
    """Report unknown placeholders and lone braces of *argument*; return the known names."""
    if lone_brace(argument):
        what = f"{shown(argument)} has a brace that is no placeholder"
        do = "write {{ or }} for a brace, and {name} for a placeholder"
        desk.error(node, "lone-brace", what, do)
        return ()
    names = placeholders(argument)
    for name in names:
        if name not in known:
            near = nearest(name, known)
            what = f"there is no placeholder {{{name[:60]}}}"
            what += f"; the nearest is {{{near}}}" if near else ""
            do = f"write {{{near}}}" if near else "write one of " + ", ".join(sorted(known))
            desk.error(node, "unknown-placeholder", what, f"{do}; {{{{ is a brace")
    return tuple(name for name in names if name in known)


def _no_two_meanings(
    settings: Iterable[tuple[str, Named[str]]], conditions: Mapping[str, Node], desk: Desk
) -> None:
    """Report names of values and conditions that would mean two things in a command."""
    taken = dict.fromkeys(ALWAYS, "the harness fills in by itself")
    for name, node in conditions.items():
        if name in taken:
            what = f"the condition {shown(name)} has a name that {taken[name]}"
            desk.error(node, "name-taken", what, "give it another name")
    taken |= dict.fromkeys(conditions, "is a condition's too")
    for setting, values in settings:
        for name, node in values.keys.items():
            if name in taken:
                what = f"the setting {setting} has a value called {name}, which {taken[name]}"
                desk.error(node, "name-taken", what, "give it another name")


def grid_fits(plan: Values, desk: Desk) -> None:
    """Report a grid with more cells than any run can hold."""
    settings = sum(len(title.of(t.TITLE_SETTINGS, ())) for title in plan.of(f.TITLES, ()))
    conditions = plan.get(f.CONDITIONS)
    levels = 1
    for _, condition in conditions.parts if conditions is not None else ():
        named = condition.get(f.LEVELS)
        levels *= len(named.keys) if named is not None else 1
    if settings * levels > MOST_CELLS:
        what = f"the grid has {settings * levels} cells, and {MOST_CELLS} is the most"
        do = "take titles, settings or levels out, or write several plans"
        desk.error(plan.place(f.TITLES), "grid-too-large", what, do)

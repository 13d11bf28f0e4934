"""What a plan says of driving a title, held against the rest: files, what goes on, reports.

Pure.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from yaml.nodes import MappingNode, Node, SequenceNode

from harness.plan import title_fields as t
from harness.plan.kinds import Desk, Values
from harness.plan.names import nearest, suggestion
from harness.units import shown, span


def texts_with_braces(title: Values) -> Iterator[tuple[Node, str]]:
    """Yield the texts of *title* beside its commands in which ``{…}`` is filled in."""
    recorder = title.get(t.RECORDER)
    if recorder is not None:
        node = title.place(t.RECORDER)
        argv = recorder.get(t.STEP_COMMAND) if isinstance(recorder, Values) else recorder
        if isinstance(recorder, Values):
            node = recorder.place(t.STEP_COMMAND)
        if argv is not None and isinstance(node, SequenceNode):
            yield from zip(node.value, argv, strict=False)
    files = title.get(t.FILES)
    if files is not None:
        put, watch = files.nodes.get(t.FILES_PUT.name), files.nodes.get(t.FILES_WATCH.name)
        if isinstance(put, MappingNode):
            for pair in put.value:
                yield from ((node, node.value) for node in pair if isinstance(node.value, str))
        if isinstance(watch, SequenceNode):
            yield from ((node, node.value) for node in watch.value if isinstance(node.value, str))


def driving_fits(title: Values, known: Collection[str], desk: Desk) -> None:
    """Report what the keys for driving *title* say that cannot be meant.

    Args:
        title: A title as it was read.
        known: The names of all placeholders that have a value in it.
        desk: Where problems are reported.
    """
    reports = title.get(t.REPORTS)
    for name, report in reports.parts if reports is not None else ():
        _report(name, report, known, desk, reports.keys[name] if reports else report.node)
    _silence(title, desk)
    files = title.get(t.FILES)
    if files is not None:
        _files(files, desk)
    if title.get(t.RECORDER) is not None and t.FRAMES.name not in title.nodes:
        figures = title.get(t.FIGURES)
        if figures is not None and not any(
            part.get(t.FIGURE_FROM) == "json" for _, part in figures.parts
        ):
            what = "nothing is read of what the recorder records"
            do = "say how it is read, in frames or in a figure from json, or take recorder out"
            desk.warn(title.place(t.RECORDER), "recorder-unread", what, do)


def _report(name: str, report: Values, known: Collection[str], desk: Desk, key: Node) -> None:
    if name not in known:
        near = nearest(name, known)
        what = f"nothing asks for {shown(name)}, so no report of it can be held against anything"
        what += f"; the nearest is {near}" if near else ""
        desk.error(key, "report-of-nothing", what, suggestion(name, known))
    source = report.get(t.REPORT_FROM)
    if source is None:
        return
    needed = (t.FIGURE_PATTERN,) if source == "output" else (t.FIGURE_FILE, t.FIGURE_AT)
    for field in (t.FIGURE_PATTERN, t.FIGURE_FILE, t.FIGURE_AT):
        there = field.name in report.nodes
        if field in needed and not there:
            what = f"the report {shown(name)} is from {source} and needs the key {field.name}"
            desk.error(report.node, "key-missing", what, f"write {field.name}: {field.about}")
        elif field not in needed and there:
            what = f"the report {shown(name)} is from {source}, where {field.name} means nothing"
            desk.error(report.place(field), "unused-key", what, f"take {field.name} out")


def _silence(title: Values, desk: Desk) -> None:
    limit = title.of(t.TIME_LIMIT, t.TITLE_LIMIT_S)
    for field in (t.SILENT_AFTER, t.STILL_AFTER):
        after = title.get(field)
        if after is not None and after >= limit:
            what = f"{field.name} is {span(after)}, and the time limit of {span(limit)} comes first"
            do = f"write a shorter {field.name}, or take it out"
            desk.warn(title.place(field), "never-reached", what, do)


def _files(files: Values, desk: Desk) -> None:
    put = files.get(t.FILES_PUT)
    if put is None and t.FILES_WATCH.name not in files.nodes:
        what = "files neither puts a file in place nor watches one"
        desk.error(files.node, "key-missing", what, "write put or watch, or take files out")
        return
    if put is None:
        if t.FILES_GIVE_BACK.name in files.nodes:
            what = "there is nothing to give back: no file is put in place"
            desk.error(files.place(t.FILES_GIVE_BACK), "unused-key", what, "take give_back out")
        return
    seen: dict[str, str] = {}
    for source, target in put.parts:
        other = seen.setdefault(target, source)
        if other != source:
            what = f"both {shown(other)} and {shown(source)} are put at {shown(target)}"
            desk.error(put.keys[source], "put-twice", what, "put one of them there")
        if source == target:
            what = f"{shown(source)} is put in its own place"
            desk.error(put.keys[source], "put-on-itself", what, "name another file, or watch it")

"""What a plan says of earlier work, against its titles, settings and passes.

Pure. Looks at what fitted by itself, and goes on where something else did not.
"""

from __future__ import annotations

from harness.plan import fields as f
from harness.plan import history_fields as h
from harness.plan import title_fields as t
from harness.plan.kinds import Desk, Values
from harness.plan.names import nearest, suggestion
from harness.plan.rule_agreement import fields_known
from harness.units import shown


def history_agrees(plan: Values, desk: Desk) -> None:
    """Report a reference cell that is no cell, a figure no title gives, and the like."""
    _reference(plan, desk)
    _enough(plan, desk)
    reuse = plan.get(h.REUSE)
    if reuse is not None:
        fields_known(reuse, h.REUSE_SAME, desk)
        if reuse.get(h.REUSE_CHECK) == "reference" and h.REFERENCE.name not in plan.nodes:
            what = "reuse is to be checked by the reference cell, and the plan has none"
            do = "add reference: {title: …, setting: …}, or take check out"
            desk.error(reuse.place(h.REUSE_CHECK), "key-missing", what, do)
    extends = plan.get(h.EXTENDS)
    if extends is not None and extends == plan.get(f.PLAN):
        what = "a plan cannot extend itself"
        do = "name the earlier plan, or give this one another name"
        desk.error(plan.place(h.EXTENDS), "extends-itself", what, do)


def _reference(plan: Values, desk: Desk) -> None:
    reference = plan.get(h.REFERENCE)
    name = reference.get(h.REFERENCE_TITLE) if reference is not None else None
    if reference is None or name is None:
        return
    titles = [each for each in plan.of(f.TITLES, ()) if each.get(t.TITLE) == name]
    place = reference.place(h.REFERENCE_TITLE)
    if not titles:
        known = [x for x in (each.get(t.TITLE) for each in plan.of(f.TITLES, ())) if x is not None]
        near = nearest(name, known)
        what = f"there is no title {shown(name)}" + (f"; the nearest is {near}" if near else "")
        desk.error(place, "unknown-title", what, suggestion(name, known))
        return
    scene = reference.get(h.REFERENCE_SCENE)
    scenes = [x for x in (each.get(t.SCENE) for each in titles) if x is not None]
    if h.REFERENCE_SCENE.name not in reference.nodes:
        if len(scenes) > 1:
            what = f"the title {shown(name)} has {len(scenes)} scenes, and no scene is named"
            do = "write scene: " + " or ".join(scenes)
            desk.error(place, "key-missing", what, do)
        chosen = titles[0]
    elif scene is not None and scene not in scenes:
        what = f"the title {shown(name)} has no scene {shown(scene)}"
        do = suggestion(scene, scenes)
        desk.error(reference.place(h.REFERENCE_SCENE), "unknown-scene", what, do)
        return
    else:
        chosen = next((each for each in titles if each.get(t.SCENE) == scene), titles[0])
    setting = reference.get(h.REFERENCE_SETTING)
    settings = chosen.of(t.TITLE_SETTINGS, ())
    if setting is not None and settings and setting not in settings:
        what = f"{shown(name)} is not measured at the setting {shown(setting)}"
        do = suggestion(setting, settings)
        desk.error(reference.place(h.REFERENCE_SETTING), "unknown-setting", what, do)


def _enough(plan: Values, desk: Desk) -> None:
    enough = plan.get(h.ENOUGH)
    if enough is None:
        return
    figure = enough.get(h.ENOUGH_FIGURE)
    if figure is not None:
        titles = plan.of(f.TITLES, ())
        known = list(desk.vocabulary.figures)
        for title in titles:
            own = title.get(t.FIGURES)
            known += own.keys if own is not None else ()
        if titles and figure not in known:
            near = nearest(figure, known)
            what = f"no title gives a figure {shown(figure)}"
            what += f"; the nearest is {near}" if near else ""
            do = suggestion(figure, known)
            desk.error(enough.place(h.ENOUGH_FIGURE), "unknown-figure", what, do)
    passes = plan.get(f.PASSES)
    keep = passes.get(f.KEEP) if passes is not None else None
    at_most = passes.get(f.AT_MOST) if passes is not None else None
    if keep is not None and keep < 2:
        what = "enough needs the spread of a cell's first passes, and keep is 1"
        desk.error(enough.node, "enough-needs-two", what, "write keep: 2 or more (better 5)")
    elif keep is not None and at_most is not None and at_most == keep:
        what = f"enough may want more passes than keep {keep}, and at_most allows no more"
        do = "write a larger at_most, or take enough out"
        desk.warn(enough.node, "enough-without-room", what, do)

"""The figure that a title is known by, where nobody names another.

Pure.
"""

from __future__ import annotations

from harness.plan.document import Plan, Title
from harness.plan.rule_agreement import DEFAULT_FIGURE


def main_figure(title: Title) -> str:
    """Return the name of it: the frame rate, or the first own figure of a title without frames."""
    if title.frames is None and title.figures:
        return title.figures[0].name
    return DEFAULT_FIGURE


def enough_figure(plan: Plan, title: Title) -> str:
    """Return the figure that is to be known so exactly: the plan's, else the title's main one."""
    named = plan.enough.figure if plan.enough is not None else None
    own = [figure.name for figure in title.figures]
    if named is not None and (title.frames is not None or named in own):
        return named
    return main_figure(title)

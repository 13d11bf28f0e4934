"""What a plan amounts to, as `harness check` shows it: numbers, titles, settings, steps.

Pure.
"""

from __future__ import annotations

from harness.plan import fields as f
from harness.plan import title_fields as t
from harness.units import span

TYPE_CHECKING = False  # as typing has it: no check needs it to run
if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from harness.plan.kinds import Values
    from harness.plan.outlook import Lengths, Outlook
    from harness.summary.reusable import Reusable

_MOST_ROWS = 20  # of titles and of steps: a longer list tells a reader nothing more


def as_text(
    plan: Values, size: Outlook, *, earlier: Lengths | None = None, passes: int = 0
) -> Iterator[str]:
    """Yield the lines that describe *plan*.

    Args:
        plan: What a plan without errors says.
        size: Its outlook.
        earlier: How long earlier passes of its titles took, as ``size`` was made with.
        passes: How many passes that was taken from.
    """
    yield from _numbers(size, passes)
    yield ""
    yield from _titles(plan.need(f.TITLES), earlier or {})
    yield ""
    yield from _settings(plan)
    if size.steps:
        yield ""
        yield from _steps(size, _hours(plan))
    if plan.get(f.LIMITS) is None:
        yield ""
        yield "The plan gives no limits. Where the card tells at which temperature it slows itself"
        yield "down (gpu.temperature.slowdown), that is the limit; else the run is not started."
    night = plan.get(f.NIGHT)
    if night is not None:
        from harness.views.nights import night_line
        from harness.views.safety import UNATTENDED

        yield ""
        yield night_line(
            start=night.need(f.NIGHT_START),
            end=night.need(f.NIGHT_END),
            days=[*_days(night.of(f.NIGHT_DAYS, ()))],
            zone=night.of(f.NIGHT_ZONE, ""),
        )
        yield from UNATTENDED


def earlier_lines(earlier: Reusable) -> Iterator[str]:
    """Yield the lines that say which cells need not be measured again, and which must be."""
    yield ""
    taken = len(earlier.offers)
    yield f"  earlier work    {taken:>7}   accepted cells may be taken, if the rig is what it was"
    if not earlier.stale:
        return
    yield f"  stale           {len(earlier.stale):>7}   cells are measured again: what differs"
    for each in earlier.stale[:_MOST_ROWS]:
        yield f"    {each.cell.label}: {', '.join(each.differs)}"
    if len(earlier.stale) > _MOST_ROWS:
        yield f"    … and {len(earlier.stale) - _MOST_ROWS} more"


def _days(days: tuple[str, ...] | tuple[tuple[str, ...], ...]) -> Iterator[str]:
    for day in days:
        if isinstance(day, str):
            yield day
        else:
            yield from day


def _numbers(size: Outlook, passes: int) -> Iterator[str]:
    parts = [f"{size.titles} titles" if size.titles != 1 else "1 title"]
    parts.append(f"{size.settings} settings" if size.settings != 1 else "1 setting")
    parts.append(f"{size.levels} combinations of levels" if size.levels != 1 else "no level varies")
    yield f"  cells           {size.cells:>7}   {', '.join(parts)}"
    yield f"  counted passes  {size.counted:>7}   if every pass is kept"
    yield f"  warm-up passes  {size.warm_ups:>7}   if the runner is started once"
    if size.references:
        yield f"  reference cell  {size.references:>7}   at each stay's start and end"
    yield f"  person's steps  {len(size.steps):>7}"
    came_from, beside = _what_time_holds(size, passes)
    yield f"  expected time   {span(size.seconds):>7}   {came_from}"
    yield f"                            {beside}"


def _what_time_holds(size: Outlook, passes: int) -> tuple[str, str]:
    """Return where the expected time comes from, and what comes on top of it."""
    noun = "pass" if passes == 1 else "passes"
    parts = [
        (len(size.seen), f"from {passes} earlier {noun}"),
        (size.scenes, "by the scenes' lengths"),
        (len(size.bounded), "at most, by time limits"),
    ]
    there = [(count, words) for count, words in parts if count]
    if len(there) == 1:
        came_from = there[0][1]
    else:
        first, *rest = (
            f"{count} {'titles' if count > 1 else 'title'} {words}" for count, words in there
        )
        came_from = "; ".join((first, *rest))
    if size.scenes:
        beside = "starting titles, waiting at gates and repeated passes come on top"
    else:
        beside = "waiting at gates and repeated passes come on top"
    if not size.scenes and not size.bounded:
        beside = "repeated passes come on top"
    return came_from, beside


def _titles(titles: tuple[Values, ...], earlier: Lengths) -> Iterator[str]:
    rows = [("title", "scene", "settings", "a pass")]
    for title in titles[:_MOST_ROWS]:
        name, scene = title.need(t.TITLE), title.need(t.SCENE)
        settings = ", ".join(title.need(t.TITLE_SETTINGS))
        rows.append((name, scene, settings, _a_pass(title, earlier.get((name, scene), ()))))
    yield from _table(rows)
    if len(titles) > _MOST_ROWS:
        yield f"  … and {len(titles) - _MOST_ROWS} more"


def _a_pass(title: Values, means: Iterable[float]) -> str:
    seen = [*means]
    if seen:
        return f"about {span(sum(seen) / len(seen))}"
    cut = title.get(t.CUT)
    length = cut.get(t.CUT_LENGTH) if cut is not None else None
    if cut is not None and length is not None:
        return span(cut.of(t.CUT_FROM, 0.0) + length)
    return "at most " + span(title.of(t.TIME_LIMIT, t.TITLE_LIMIT_S))


def _settings(plan: Values) -> Iterator[str]:
    rows = [("setting", "what is handed to titles, as text")]
    for name, part in plan.need(f.SETTINGS).parts[:_MOST_ROWS]:
        rows.append((name, ", ".join(f"{key} = {value}" for key, value in part.parts)))
    yield from _table(rows)


def _hours(plan: Values) -> str:
    """Return when a person may be asked, and in which zone; empty: at any hour."""
    person, night = plan.get(f.PERSON), plan.get(f.NIGHT)
    if person is None:
        return ""
    from harness.views.nights import hours_words

    start, end = person.need(f.PERSON_HOURS)
    return hours_words(
        start=start, end=end, zone=night.of(f.NIGHT_ZONE, "") if night is not None else ""
    )


def _steps(size: Outlook, hours: str) -> Iterator[str]:
    yield "  a person's steps, in order" + (f"; asked only within {hours}" if hours else "")
    for number, levels in enumerate(size.steps[:_MOST_ROWS], start=1):
        yield f"  {number:>3}. " + ", ".join(f"{name}: {level}" for name, level in levels)
    if len(size.steps) > _MOST_ROWS:
        yield f"  … and {len(size.steps) - _MOST_ROWS} more"
    if size.opens_case:
        from harness.views.safety import OPENED_CASE

        times = "once" if size.opens_case == 1 else f"{size.opens_case} times"
        yield ""
        yield f"  The case is opened {times}. Each time:"
        yield from (f"    - {words}" for words in OPENED_CASE)


def _table(rows: Iterable[tuple[str, ...]]) -> Iterator[str]:
    """Yield *rows* in columns, the first being the head; a long cell is cut."""
    cut = [tuple(cell if len(cell) <= 48 else cell[:47] + "…" for cell in row[:-1]) for row in rows]
    last = [row[-1] for row in rows]
    widths = [max(map(len, column)) for column in zip(*cut, strict=True)]
    for row, end in zip(cut, last, strict=True):
        cells = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        yield f"  {cells}  {end}".rstrip()

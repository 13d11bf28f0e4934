"""Hypothesis: random plans that are in order. ``tests.plan_text`` writes them as a file would."""

from __future__ import annotations

from functools import cache

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from harness.plan import document as d
from harness.plan.placeholders import ALWAYS

#: For tests over whole plans: drawing one is slow, and slower where other tests run beside it.
few = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])

#: Names that YAML, a shell, a file system or a tired eye could take for something else. A few
#: dozen of them find what random letters find, in a tenth of the time.
_NAMES = (
    "fhd", "Lantern Quay", "on", "~", "null", "1984", "4.10", "1:30", "0x1F", ".inf", "- x", "a: b",
    "Basalt Run #2", "it's", '"quoted"', "*.csv", "&x", "!x", "%x", "@x", "`x", "a, b", "[x]", "|",
    "?", "=", "<<", "é", "Café", "λ 你好", "C:\\new\\tests", "../..", "CON", "x" * 200, "°", "٣",
)  # fmt: skip
_name = st.sampled_from(_NAMES)
_word = st.text("abcdefghij", min_size=1, max_size=8).filter(lambda word: word not in ALWAYS)
_seconds = st.integers(1, 5000).map(float)
_size = st.integers(1, 10**9).map(float)
_share = st.integers(1, 99).map(lambda percent: float(f"{percent}e-2"))


def _unique(names: st.SearchStrategy[str], least: int, most: int) -> st.SearchStrategy[list[str]]:
    return st.lists(names, min_size=least, max_size=most, unique_by=lambda n: n.casefold())


def _bound(reading: str, unit: str = "", **said: float | bool | str) -> d.Bound:
    return d.Bound(reading=reading, unit=unit, **said)  # type: ignore[arg-type]


#: Conditions of every form, on readings of every form.
bounds = st.sampled_from(
    [
        _bound("gpu.temperature", "°C", at_most=92.0),
        _bound("gpu.temperature", "°C", at_least=55.5, at_most=65.25),
        _bound("room.temperature", "°C", at_least=-5.0),
        _bound("cpu.load", "%", at_most=0.1),
        _bound("memory.speed", "MT/s", at_least=6000.0),
        _bound("gpu.power.limit", "W", equals=300.0),
        _bound("gpu.link.width", equals=16.0),
        _bound("gpu.link.generation", at_least=3.0, at_most=5.0),
        _bound("gpu.limited.heat", equals=False),
        _bound("clock.synchronised", equals=True),
        _bound("power.source", equals="mains"),
        _bound("gpu.driver", equals="560.70"),
        _bound("disks", holds="LAB-TEST-2T"),
    ]
)
_bounds = st.lists(bounds, min_size=1, max_size=3).map(tuple)
_limits = _bounds.map(lambda many: tuple(d.Limit(bound=bound) for bound in many))
_no_bounds_or_some = st.just(()) | _bounds


@cache
def commands(names: tuple[str, ...] = ("python",)) -> st.SearchStrategy[d.Command]:
    """Return commands whose placeholders are *names*."""
    filled = st.sampled_from([*(f"--{name}={{{name}}}" for name in names), "", "{{as is}}"])
    argv = st.builds(
        lambda first, rest: (first, *rest), _name, st.lists(filled | _name, max_size=4)
    )
    return st.builds(d.Command, argv=argv, time_limit_s=_seconds)


@st.composite
def _conditions(draw: st.DrawFn, names: list[str]) -> tuple[d.Condition, ...]:
    made = []
    for name in names:
        by = draw(st.sampled_from(d.By))
        levels = []
        for level in draw(_unique(_name, 1, 3)):
            command = draw(commands()) if by is d.By.COMMAND else None
            levels.append(
                d.Level(
                    name=level,
                    say=draw(_name) if by is d.By.OPERATOR else "",
                    command=command,
                    put_back=draw(st.none() | commands()) if command is not None else None,
                    expect=draw(_no_bounds_or_some),
                    needs=draw(_no_bounds_or_some),
                    limits=draw(st.just(()) | _limits),
                )
            )
        mine = by is d.By.OPERATOR
        made.append(
            d.Condition(
                name=name,
                by=by,
                levels=tuple(levels),
                opens_case=mine and draw(st.booleans()),
                reboot=mine and draw(st.booleans()),
                changes=draw(st.sampled_from([(), ("gpu.driver", "title.build")])),
            )
        )
    return tuple(made)


@st.composite
def _titles(
    draw: st.DrawFn, settings: list[str], names: tuple[str, ...], levels: set[str]
) -> tuple[d.Title, ...]:
    # A plan may call a setting what it calls a level, but cannot then tell them apart by name.
    told_apart = levels.isdisjoint(settings)
    made = []
    keys = draw(
        st.lists(
            st.tuples(_name, _name), min_size=1, max_size=3,
            unique_by=lambda key: (key[0].casefold(), key[1].casefold()),
        )
    )  # fmt: skip
    for title, scene in keys:
        command = draw(commands(names))
        length = draw(st.none() | st.integers(1, 100).map(float))
        sizes = draw(st.lists(_size, min_size=1, max_size=len(settings)))
        made.append(
            d.Title(
                title=title,
                scene=scene,
                settings=tuple(draw(st.permutations(settings))),
                command=d.Command(
                    argv=command.argv, time_limit_s=command.time_limit_s + 2 * (length or 0.0)
                ),
                prepare=draw(st.lists(commands(names), max_size=2).map(tuple)),
                tidy=draw(st.lists(commands(names), max_size=2).map(tuple)),
                collect=draw(st.sampled_from([(), ("results/*.csv",)])),
                build_files=draw(st.sampled_from([(), ("bin/title",)])),
                build_command=draw(st.none() | commands()),
                cut=d.Cut(from_s=0.5, length_s=length, tolerance=draw(_share)),
                frames=draw(st.none() | frames()),
                figures=(
                    d.FigureSpec(
                        name="score",
                        source=d.FigureFrom.OUTPUT,
                        better=draw(st.sampled_from(d.Better)),
                        pattern=r"score = (?P<value>\d+)",
                    ),
                ),
                bytes_per_frame=draw(
                    st.none() | _size | st.just(tuple(zip(settings, sizes, strict=False)))
                    if told_apart
                    else st.none() | _size
                ),
            )
        )
    return tuple(made)


@st.composite
def frames(draw: st.DrawFn) -> d.Frames:
    """Return how some frame log is read."""
    header = draw(st.none() | st.integers(1, 20) | st.just("none"))
    column = draw(st.integers(1, 50) if header == "none" else _name | st.integers(1, 50))
    kinds = draw(st.none() | st.tuples(_name, st.lists(_name, min_size=1, max_size=2).map(tuple)))
    return d.Frames(
        file="frames.csv",
        column=column,
        unit=draw(st.sampled_from(["s", "ms", "us", "ns"])),
        values=draw(st.sampled_from(["durations", "clock"])),
        delimiter=draw(st.sampled_from([None, "\t", ";"])),
        decimal=draw(st.sampled_from([None, ".", ","])),
        thousands=draw(st.sampled_from([None, " ", "'"])),
        encoding=draw(st.sampled_from([None, "utf-8", "cp1252"])),
        header=header,
        footer=draw(st.none() | st.integers(0, 9)),
        where=tuple((name, draw(_name)) for name in draw(_unique(_name, 0, 2))) or (),
        kinds_column=kinds[0] if kinds is not None else None,
        kinds=kinds[1] if kinds is not None else (),
        counter=draw(st.none() | _name),
    )


@st.composite
def plans(draw: st.DrawFn) -> d.Plan:
    """Return a random plan that is in order."""
    words = draw(_unique(_word, 1, 4))
    split = draw(st.integers(0, len(words)))
    values, condition_names = words[:split], words[split:][:2]
    settings = draw(_unique(_name, 1, 3))
    keep = draw(st.integers(1, 9))
    conditions = draw(_conditions(condition_names))
    levels = {level.name for condition in conditions for level in condition.levels}
    limits = draw(st.none() | _limits)
    night = draw(
        st.none()
        | st.tuples(
            st.integers(0, 1439), st.integers(1, 1439), st.sampled_from(["", "Europe/Lisbon"])
        )
    )
    names = (*values, *condition_names, *ALWAYS)
    return d.Plan(
        name=draw(_name),
        titles=draw(_titles(settings, names, levels)),
        settings=tuple(
            d.Setting(
                name=name, values=tuple((value, draw(st.just("") | _name)) for value in values)
            )
            for name in settings
        ),
        conditions=conditions,
        passes=d.Passes(
            warm_up=d.WarmUp(
                passes=draw(st.integers(0, 3)),
                when=tuple(draw(st.sets(st.sampled_from(d.WarmUpWhen)))),
            ),
            keep=keep,
            at_most=keep + draw(st.integers(0, 9)),
            look_first=draw(st.booleans()),
        ),
        gates=tuple(
            d.Gate(
                bound=bound,
                for_s=draw(st.integers(0, 10).map(float)),
                give_up_s=draw(st.integers(11, 900).map(float)),
                then=draw(st.sampled_from(d.Then)),
            )
            for bound in draw(_no_bounds_or_some)
        ),
        guards=tuple(
            d.Guard(bound=b, share=draw(st.none() | _share), for_s=draw(st.none() | _seconds))
            for b in draw(_no_bounds_or_some)
        ),
        limits=limits,
        limits_none=limits is None and night is None and draw(st.booleans()),
        discard=draw(
            st.sampled_from([(), (d.DiscardRule(rule="grubbs", on="score", least=7, alpha=0.05),)])
        ),
        order=d.Order(
            by=draw(st.sampled_from(d.OrderBy)),
            rounds=draw(st.none() | st.integers(1, 9)),
            rounds_within=draw(st.sampled_from([None, *condition_names])),
            visits=draw(st.integers(1, keep)),
            seed=draw(st.integers(0, 99)),
        ),
        faults=d.Faults(
            again=draw(st.integers(0, 3)),
            then=draw(st.sampled_from(d.FaultThen)),
            stop_after=draw(st.integers(1, 9)),
        ),
        compare=d.Compare(same=("gpu.driver",), band=draw(_share), low="slowest-time"),
        rig=d.Rig(needs=draw(_no_bounds_or_some), settle_s=draw(_seconds)),
        person=draw(st.none() | st.just(d.Person(from_minute=480, to_minute=1320))),
        night=(
            d.Night(
                start_minute=night[0],
                end_minute=(night[0] + night[1]) % 1440,
                days=("mon", "tue", "fri"),
                zone=night[2],
            )
            if night is not None
            else None
        ),
        about=draw(st.just("") | _name),
        procedure=draw(st.just("") | _name),
        facts=tuple((name, draw(_name)) for name in draw(_unique(_name, 0, 2))),
    )

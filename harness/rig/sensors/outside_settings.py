"""The lab's own sensors of a rig, as ``rig.yaml`` in the rig's state folder names them.

Touches disk. Read by the same composer and kinds as a plan: nothing changes its meaning on the
way, and every problem is told at once, with its place.

    sensors:
      - command: [room-probe, --every, "1"]     # kept running; it prints a line when it has one
        readings: {room.temperature: °C}
      - command: [pump-status]                  # started anew, every so often
        every: 10 s
        time_limit: 2 s
        readings: {pump.speed: rpm, pump.running: true/false}
      - url: http://127.0.0.1:8085/readings     # of this machine only
        every: 2 s
        readings: {gpu.hotspot.temperature: °C}

``readings`` names what the sensor gives, each with its one unit; ``count``, ``true/false`` and
``text`` stand for what has none. A reading of the harness's own table keeps the unit it has
there. ``stale_after`` is how old a line may be and still count (default: three times ``every``,
at least 5 s).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from yaml.nodes import Node

from harness.errors import AskedError
from harness.plan.kinds import Desk, Field, Kind, ListOf, Values
from harness.plan.mappings import Mapping, Named, NamedParts
from harness.plan.measures import Length
from harness.plan.read import read_plan
from harness.plan.texts import Arguments, Text
from harness.plan.vocabulary import Vocabulary
from harness.rig.quantities import QUANTITIES, Form
from harness.rig.sensors.outside_lines import Declared

FILE = "rig.yaml"
#: Keys of the same file that are read elsewhere: by ``harness.watch.watch_settings``.
OF_THE_WATCH = ("notices", "watch")
LOOPBACK = ("127.0.0.1", "localhost", "::1")
_LEAST_STALE_S = 5.0
_NAME = re.compile(r"[a-z][a-z0-9]*(?:[.-][a-z0-9]+)*\.[a-z0-9]+(?:-[a-z0-9]+)*")
_WORDS = {form.value: form for form in (Form.COUNT, Form.FLAG, Form.TEXT)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Outside:
    """One sensor of the lab. Exactly one of ``command`` and ``url`` is given."""

    readings: tuple[Declared, ...]
    command: tuple[str, ...] = ()
    url: str = ""
    every_s: float | None = None  #: None: the command is kept running
    time_limit_s: float = 2.0
    stale_after_s: float = _LEAST_STALE_S


class _ReadingName(Text):
    """The name of a reading: ``thing.quantity``, small letters."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> str | None:
        name = super().__call__(node, desk, path)
        if name is None or name in QUANTITIES or _NAME.fullmatch(name):
            return name
        what = f"{name!r} is no name of a reading"
        desk.error(node, "wrong-name", what, "write thing.quantity, in small letters: pump.speed")
        return None


class _Sensor(Mapping):
    """One entry: what its keys say together."""

    __slots__ = ()

    def finish(self, values: Values, desk: Desk, path: str) -> None:
        command, url = "command" in values.nodes, "url" in values.nodes
        if command == url:
            what = f"{path} gives {'both command and url' if url else 'neither command nor url'}"
            desk.error(values.node, "one-of-two", what, "write one of the two")
        if url and "every" not in values.nodes:
            what = f"{path} does not say how often its url is asked"
            desk.error(values.node, "key-missing", what, "write every: 2 s")
        if command and "every" not in values.nodes and "time_limit" in values.nodes:
            what = f"{path}: a command that is kept running has no time limit"
            desk.error(
                values.place(_TIME_LIMIT), "no-time-limit-here", what, "take it out, or say every"
            )


class _Url(Text):
    """An address of this machine."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> str | None:
        text = super().__call__(node, desk, path)
        if text is None:
            return None
        try:
            parts = urlsplit(text)
            here = parts.scheme == "http" and parts.hostname in LOOPBACK and parts.port != 0
            plain = not parts.username and not parts.fragment
        except ValueError:
            here = plain = False
        if here and plain and text.isascii():
            return text
        what = f"{path} is no address of this machine: {text[:80]!r}"
        desk.error(node, "not-this-machine", what, "write http://127.0.0.1:PORT/PATH")
        return None


_UNIT: Kind[str] = Text("a unit", most=40)
_COMMAND: Field[tuple[str, ...]] = Field("command", Arguments(), "the program and its arguments")
_ADDRESS: Field[str] = Field("url", _Url("an address", most=2000), "an address of this machine")
_EVERY: Field[float] = Field("every", Length(low=1.0, high=3600.0), "how often it is asked")
_TIME_LIMIT: Field[float] = Field(
    "time_limit", Length(low=0.1, high=60.0), "how long an answer may take", default="2 s"
)
_STALE: Field[float] = Field(
    "stale_after", Length(low=1.0, high=86_400.0), "how old a line may be and still count"
)
_READINGS: Field[Named[str]] = Field(
    "readings",
    NamedParts(_UNIT, names=_ReadingName("a name", most=80)),
    "what it gives, each with its unit",
    required=True,
)
_SENSORS = ListOf(_Sensor(_COMMAND, _ADDRESS, _EVERY, _TIME_LIMIT, _STALE, _READINGS), least=0)


def outside_sensors(folder: Path) -> tuple[Outside, ...]:
    """Return the sensors that ``rig.yaml`` in *folder* names; none where there is no such file.

    Raises:
        AskedError: the file has problems; all of them.
    """
    path = folder / FILE
    if not path.exists():
        return ()
    source = read_plan(path)
    problems = tuple(p for p in source.problems if p.code != "empty-plan")
    if problems:
        raise AskedError(problems)
    desk = Desk(source, Vocabulary(readings={}, rules={}))
    found: list[Outside] = []
    for key, node in source.root.value if source.root is not None else ():
        if key.value in OF_THE_WATCH:
            continue
        if key.value != "sensors":
            what = f"{FILE} has no key {key.value[:60]!r}"
            do = f"write sensors, {' or '.join(OF_THE_WATCH)}"
            desk.error(key, "unknown-key", what, do)
            continue
        for n, values in enumerate(_SENSORS(node, desk, "sensors") or (), start=1):
            found.append(_outside(values, desk, f"sensors[{n}]"))
    _refuse_twice(found, desk, source.root)
    if desk.problems:
        raise AskedError(desk.problems)
    return tuple(found)


def _outside(values: Values, desk: Desk, path: str) -> Outside:
    named = values.get(_READINGS)
    readings = []
    for name, unit in named.parts if named is not None else ():
        declared = _declared(name, unit)
        if declared is None:
            known = QUANTITIES[name]
            what = f"{path}.readings: {name} is in {known.unit or known.form.value}, not {unit}"
            do = f"write {name}: {known.unit or known.form.value}; lines may use another unit of it"
            desk.error(
                named.keys[name] if named is not None else values.node, "wrong-unit", what, do
            )
            continue
        readings.append(declared)
    every_s = values.get(_EVERY)
    return Outside(
        readings=tuple(readings),
        command=values.of(_COMMAND, ()),
        url=values.of(_ADDRESS, ""),
        every_s=every_s,
        time_limit_s=values.of(_TIME_LIMIT, 2.0),
        stale_after_s=values.of(_STALE, max(_LEAST_STALE_S, 3.0 * (every_s or 0.0))),
    )


def _declared(name: str, unit: str) -> Declared | None:
    """Return the reading; None where the table of readings says another unit."""
    form = _WORDS.get(unit, Form.NUMBER)
    known = QUANTITIES.get(name)
    if known is None:
        return Declared(name=name, unit="" if form is not Form.NUMBER else unit, form=form)
    if unit not in ((known.unit,) if known.unit else (known.form.value,)):
        return None
    return Declared(name=name, unit=known.unit, form=known.form)


def _refuse_twice(found: list[Outside], desk: Desk, root: Node | None) -> None:
    names = [each.name for sensor in found for each in sensor.readings]
    for name in sorted({name for name in names if names.count(name) > 1}):
        assert root is not None
        what = f"{name} is given by two sensors"
        desk.error(root, "reading-twice", what, "take it out of one of the two")

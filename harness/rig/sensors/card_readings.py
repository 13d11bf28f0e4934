"""The readings of the card under test: what changes from second to second, and its facts.

Pure but for the library it is handed. What the driver does not tell costs that one reading,
with the driver's reason.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from harness.rig.readings import Reading, measured, not_measured
from harness.rig.sensors.card import Card, NoCard, chosen
from harness.rig.sensors.event_reasons import limited
from harness.rig.sensors.nvml import UNTOLD, Number, Nvml, NvmlError, Text
from harness.rig.sensors.source import Absent, Source

#: Reading -> what is asked, and how many of the answer make one of the reading's unit.
_NOW: tuple[tuple[str, Number, float], ...] = (
    ("gpu.memory.temperature", Number.MEMORY_TEMPERATURE, 1.0),
    ("gpu.clock", Number.CLOCK, 1.0),
    ("gpu.memory.clock", Number.MEMORY_CLOCK, 1.0),
    ("gpu.power", Number.POWER, 1000.0),
    ("gpu.load", Number.LOAD, 1.0),
    ("gpu.link.generation", Number.LINK_GENERATION, 1.0),
    ("gpu.link.width", Number.LINK_WIDTH, 1.0),
)
_TEMPERATURE = "gpu.temperature"
_LIMITED = ("gpu.limited.heat", "gpu.limited.power", "gpu.limited.other")
_FACTS: tuple[tuple[str, Number, float], ...] = (
    ("gpu.power.limit", Number.POWER_LIMIT, 1000.0),
    ("gpu.power.limit.default", Number.POWER_LIMIT_DEFAULT, 1000.0),
    ("gpu.power.limit.least", Number.POWER_LIMIT_LEAST, 1000.0),
    ("gpu.power.limit.most", Number.POWER_LIMIT_MOST, 1000.0),
    ("gpu.link.generation.card", Number.LINK_GENERATION_CARD, 1.0),
    ("gpu.link.generation.system", Number.LINK_GENERATION_SYSTEM, 1.0),
    ("gpu.link.width.system", Number.LINK_WIDTH_SYSTEM, 1.0),
    ("gpu.link.replays", Number.LINK_REPLAYS, 1.0),
)
#: Reading -> its threshold in °C, and the same as a margin, as newer cards tell it.
_THRESHOLDS: tuple[tuple[str, Number, Number], ...] = (
    ("gpu.temperature.slowdown", Number.SLOWDOWN, Number.SLOWDOWN_MARGIN),
    ("gpu.temperature.shutdown", Number.SHUTDOWN, Number.SHUTDOWN_MARGIN),
)
_TEXTS: tuple[tuple[str, Text], ...] = (
    ("gpu.model", Text.MODEL),
    ("gpu.firmware", Text.FIRMWARE),
)

NOW_NAMES: tuple[str, ...] = (_TEMPERATURE, *(name for name, _, _ in _NOW), *_LIMITED)
FACT_NAMES: tuple[str, ...] = (
    *(name for name, _, _ in _FACTS),
    *(name for name, _, _ in _THRESHOLDS),
    *(name for name, _ in _TEXTS),
    "gpu.driver",
    "gpu.uuid",
    "gpu.bus",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CardNow:
    """What changes from second to second."""

    card: Card
    where: str = "NVML"
    names: tuple[str, ...] = NOW_NAMES
    each_tick: bool = True

    @property
    def identity(self) -> str:
        """Return which card it is."""
        return self.card.identity

    @property
    def lost(self) -> str | None:
        """Return that the card is lost, or None."""
        return self.card.lost

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return one reading of each name."""
        temperature = self.card.look(at_s)
        if isinstance(temperature, NvmlError) and temperature.lost:
            return {name: _untold(name, temperature) for name in self.names}
        found = {
            _TEMPERATURE: _untold(_TEMPERATURE, temperature)
            if isinstance(temperature, NvmlError)
            else measured(_TEMPERATURE, float(temperature))
        }
        for name, what, divisor in _NOW:
            found[name] = _number(self.card, name, what, divisor)
        found |= _held_down(self.card)
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFacts:
    """What changes with a driver, a slot, or a person: read before a pass, not during one."""

    card: Card
    where: str = "NVML"
    names: tuple[str, ...] = FACT_NAMES
    each_tick: bool = False

    @property
    def identity(self) -> str:
        """Return which card it is."""
        return self.card.identity

    @property
    def lost(self) -> str | None:
        """Return that the card is lost, or None."""
        return self.card.lost

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return one reading of each name."""
        card = self.card
        gone = card.look(at_s)
        if isinstance(gone, NvmlError) and gone.lost:
            return {name: _untold(name, gone) for name in self.names}
        found = {name: _number(card, name, what, divisor) for name, what, divisor in _FACTS}
        for name, degrees, margin in _THRESHOLDS:
            found[name] = _threshold(card, name, degrees, margin)
        for name, text in _TEXTS:
            found[name] = _text(name, partial(card.text, text))
        found["gpu.driver"] = _text("gpu.driver", card.driver)
        found["gpu.uuid"] = measured("gpu.uuid", card.uuid)
        found["gpu.bus"] = (
            measured("gpu.bus", card.address)
            if card.address is not None
            else not_measured("gpu.bus", "the driver does not tell it")
        )
        return found


def card_sources(nvml: Callable[[], Nvml], *, gpu: str | None) -> tuple[Source, Source]:
    """Return the sources of the card under test: what changes, and its facts.

    Where no card can be read they are absent, and say why.

    Args:
        nvml: Opens the driver's library.
        gpu: The card that the plan names; None: the only one.
    """
    try:
        library = nvml()
        card = Card(library, chosen(library.cards(), named=gpu))
    except NvmlError as error:
        return _absent(error.why)
    except NoCard as reason:
        return _absent(str(reason))
    except ImportError:
        return _absent("nvidia-ml-py is not installed in this Python")
    return CardNow(card=card), CardFacts(card=card)


def _absent(why: str) -> tuple[Source, Source]:
    return (
        Absent(where="NVML", names=NOW_NAMES, why=why),
        Absent(where="NVML", names=FACT_NAMES, why=why),
    )


def _number(card: Card, name: str, what: Number, divisor: float) -> Reading:
    try:
        return measured(name, card.number(what) / divisor)
    except NvmlError as error:
        return _untold(name, error)


def _text(name: str, ask: Callable[[], str]) -> Reading:
    try:
        text = ask()
    except NvmlError as error:
        return _untold(name, error)
    return measured(name, text) if text else not_measured(name, "the driver leaves it empty")


def _untold(name: str, error: NvmlError) -> Reading:
    return not_measured(name, error.why, raw=str(error))


def _held_down(card: Card) -> Mapping[str, Reading]:
    """Return what holds the clocks down; the driver's own bits stay with each reading."""
    try:
        found = limited(card.number(Number.REASONS))
    except NvmlError as error:
        return {name: _untold(name, error) for name in _LIMITED}
    return {
        name: measured(name, value, raw=found.raw)
        for name, value in zip(_LIMITED, (found.heat, found.power, found.other), strict=True)
    }


def _threshold(card: Card, name: str, degrees: Number, margin: Number) -> Reading:
    """Return a threshold, °C.

    Newer cards tell it as a margin: how far the card then is from its highest temperature of
    work, negative beyond it. With the margin of now that gives degrees of the chip:
    ``temperature + margin now - margin at the threshold`` (NVML, temperature fields of API
    version 13).
    """
    try:
        return measured(name, float(card.number(degrees)))
    except NvmlError as error:
        if error.code not in UNTOLD:
            return _untold(name, error)
        untold = error
    try:
        now, left, at = (card.number(what) for what in (Number.TEMPERATURE, Number.MARGIN, margin))
    except NvmlError:
        return _untold(name, untold)
    raw = f"at {now} °C the margin is {left} °C, at the threshold it is {at} °C"
    return measured(name, float(now + left - at), raw=raw)

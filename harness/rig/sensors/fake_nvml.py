"""A scripted driver with cards, for tests and for a machine without any.

Pure. Fits ``harness.rig.sensors.nvml.Nvml``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from harness.rig.sensors.nvml import NOT_FOUND, NOT_SUPPORTED, Number, NvmlError, Text

_Answer = TypeVar("_Answer", int, str)

#: What a card tells that nobody has scripted otherwise: invented, and plausible together.
USUAL_NUMBERS: Mapping[Number, int] = {
    Number.TEMPERATURE: 61,
    Number.SLOWDOWN: 95,
    Number.SHUTDOWN: 98,
    Number.CLOCK: 2520,
    Number.MEMORY_CLOCK: 10_501,
    Number.POWER: 224_310,
    Number.POWER_LIMIT: 300_000,
    Number.POWER_LIMIT_DEFAULT: 320_000,
    Number.POWER_LIMIT_LEAST: 100_000,
    Number.POWER_LIMIT_MOST: 350_000,
    Number.LOAD: 97,
    Number.REASONS: 0x0,
    Number.LINK_GENERATION: 4,
    Number.LINK_WIDTH: 16,
    Number.LINK_GENERATION_CARD: 5,
    Number.LINK_GENERATION_SYSTEM: 4,
    Number.LINK_WIDTH_SYSTEM: 16,
    Number.LINK_REPLAYS: 0,
}
#: What a card of a data centre told at rest (NVIDIA H100 80GB HBM3, driver 580.159.04, 2026-11-25):
#: every question is answered, and its link does not fall at rest. The margins follow its
#: temperature, see ``FakeCard.works_to_c``.
SEEN_NUMBERS: Mapping[Number, int] = {
    Number.TEMPERATURE: 47,
    Number.MEMORY_TEMPERATURE: 55,
    Number.SLOWDOWN: 89,
    Number.SHUTDOWN: 95,
    Number.SLOWDOWN_MARGIN: -2,
    Number.SHUTDOWN_MARGIN: -8,
    Number.CLOCK: 345,
    Number.MEMORY_CLOCK: 2619,
    Number.POWER: 75_165,
    Number.POWER_LIMIT: 700_000,
    Number.POWER_LIMIT_DEFAULT: 700_000,
    Number.POWER_LIMIT_LEAST: 200_000,
    Number.POWER_LIMIT_MOST: 700_000,
    Number.LOAD: 0,
    Number.REASONS: 0x1,
    Number.LINK_GENERATION: 5,
    Number.LINK_WIDTH: 16,
    Number.LINK_GENERATION_CARD: 5,
    Number.LINK_GENERATION_SYSTEM: 5,
    Number.LINK_WIDTH_SYSTEM: 16,
    Number.LINK_REPLAYS: 0,
}
SEEN_WORKS_TO_C = 87
#: What each question cost there, seconds (median of 50): little for what is asked in a pass, a
#: hundred times that for some of the facts.
SEEN_COSTS_S: Mapping[Number, float] = {
    **dict.fromkeys(Number, 1.7e-6),
    Number.MEMORY_TEMPERATURE: 4.2e-6,
    Number.SLOWDOWN_MARGIN: 4.9e-6,
    Number.LINK_WIDTH: 30.4e-6,
    Number.SHUTDOWN_MARGIN: 157.0e-6,
    Number.SHUTDOWN: 163.8e-6,
    Number.LINK_REPLAYS: 174.5e-6,
    Number.MARGIN: 864.2e-6,
}
USUAL_TEXTS: Mapping[Text, str] = {
    Text.MODEL: "Heron 700",
    Text.ADDRESS: "00000000:0A:00.0",
    Text.FIRMWARE: "95.02.3C.40.01",
}


@dataclass(slots=True, kw_only=True)
class FakeCard:
    """A card. An answer may be an NvmlError; what is not scripted is not supported."""

    numbers: dict[Number, int | NvmlError] = field(default_factory=lambda: dict(USUAL_NUMBERS))
    texts: dict[Text, str | NvmlError] = field(default_factory=lambda: dict(USUAL_TEXTS))
    lost: NvmlError | None = None  #: answers everything, once it is set
    #: The highest temperature of work, °C: the margin told is how far the card is from it then.
    works_to_c: int | None = None

    def number(self, what: Number) -> int:
        """Return a number. Raises NvmlError."""
        if what is Number.MARGIN and self.works_to_c is not None and what not in self.numbers:
            return self.works_to_c - self.number(Number.TEMPERATURE)
        return _told(self.numbers.get(what, NvmlError(NOT_SUPPORTED, "Not Supported")))


def seen_card() -> FakeCard:
    """Return a card that answers as one did at rest."""
    return FakeCard(numbers=dict(SEEN_NUMBERS), works_to_c=SEEN_WORKS_TO_C)


@dataclass(slots=True, kw_only=True)
class FakeNvml:
    """A driver and its cards by UUID. ``asked`` counts the questions.

    ``spend`` is told what each number cost, in seconds: a clock that is simulated goes on by it.
    """

    by_uuid: dict[str, FakeCard] = field(default_factory=dict)
    version: str | NvmlError = "590.44.01"
    asked: int = 0
    costs_s: Mapping[Number, float] = field(default_factory=dict)
    spend: Callable[[float], None] = lambda seconds: None

    def driver(self) -> str:
        """Return the driver's version."""
        return _told(self.version)

    def cards(self) -> tuple[str, ...]:
        """Return the UUIDs of the cards."""
        return tuple(self.by_uuid)

    def number(self, card: str, what: Number) -> int:
        """Return a number of a card."""
        self.asked += 1
        self.spend(self.costs_s.get(what, 0.0))
        return self._card(card).number(what)

    def text(self, card: str, what: Text) -> str:
        """Return a text of a card."""
        self.asked += 1
        found = self._card(card)
        return _told(found.texts.get(what, NvmlError(NOT_SUPPORTED, "Not Supported")))

    def _card(self, uuid: str) -> FakeCard:
        if uuid not in self.by_uuid:
            raise NvmlError(NOT_FOUND, "Not Found")
        card = self.by_uuid[uuid]
        if card.lost is not None:
            raise card.lost
        return card


def _told(answer: _Answer | NvmlError) -> _Answer:
    if isinstance(answer, NvmlError):
        raise answer
    return answer

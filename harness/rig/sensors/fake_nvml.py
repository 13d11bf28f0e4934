"""A scripted driver with cards, for tests and for a machine without any.

Pure. Fits ``harness.rig.sensors.nvml.Nvml``.
"""

from __future__ import annotations

from collections.abc import Mapping
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


@dataclass(slots=True, kw_only=True)
class FakeNvml:
    """A driver and its cards by UUID. ``asked`` counts the questions."""

    by_uuid: dict[str, FakeCard] = field(default_factory=dict)
    version: str | NvmlError = "590.44.01"
    asked: int = 0

    def driver(self) -> str:
        """Return the driver's version."""
        return _told(self.version)

    def cards(self) -> tuple[str, ...]:
        """Return the UUIDs of the cards."""
        return tuple(self.by_uuid)

    def number(self, card: str, what: Number) -> int:
        """Return a number of a card."""
        self.asked += 1
        found = self._card(card)
        return _told(found.numbers.get(what, NvmlError(NOT_SUPPORTED, "Not Supported")))

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

"""What is asked of NVIDIA's management library: the port, and how it fails.

Pure. NVML is the library of the driver that tells of its cards (NVML API, version 13). The
real binding is ``nvml_binding``, a scripted card ``fake_nvml``. Nothing here sets anything.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from types import MappingProxyType
from typing import Protocol


class Number(enum.Enum):
    """A whole number that the driver tells of a card; its value names the unit."""

    TEMPERATURE = "temperature, °C"
    MEMORY_TEMPERATURE = "temperature of the memory, °C"
    SLOWDOWN = "temperature at which the card slows itself down, °C"
    SHUTDOWN = "temperature at which the card switches itself off, °C"
    MARGIN = "how far the card is from its highest temperature of work, °C"
    SLOWDOWN_MARGIN = "the margin at which the card slows itself down, °C"
    SHUTDOWN_MARGIN = "the margin at which the card switches itself off, °C"
    CLOCK = "graphics clock, MHz"
    MEMORY_CLOCK = "memory clock, MHz"
    POWER = "power drawn, mW"
    POWER_LIMIT = "power limit in force, mW"
    POWER_LIMIT_DEFAULT = "power limit as delivered, mW"
    POWER_LIMIT_LEAST = "lowest power limit that can be set, mW"
    POWER_LIMIT_MOST = "highest power limit that can be set, mW"
    LOAD = "share of the last period in which the card was at work, %"
    REASONS = "what holds the clocks down, bits"
    LINK_GENERATION = "PCI Express generation now"
    LINK_WIDTH = "PCI Express lanes now"
    LINK_GENERATION_CARD = "highest generation of the card"
    LINK_GENERATION_SYSTEM = "highest generation of the card in this system"
    LINK_WIDTH_SYSTEM = "most lanes of the card in this system"
    LINK_REPLAYS = "transfers over the link that had to be repeated"


class Text(enum.Enum):
    """A text that the driver tells of a card."""

    MODEL = "name of the card"
    ADDRESS = "PCI address, in the driver's form"
    FIRMWARE = "version of the card's firmware"


class NvmlError(Exception):
    """The library did not answer.

    Args:
        code: NVML's own return code.
        text: NVML's own words for it.
    """

    def __init__(self, code: int, text: str) -> None:
        super().__init__(f"NVML {code}: {text}")
        self.code, self.text = code, text

    @property
    def why(self) -> str:
        """Return what happened as a person reads it."""
        return _WHY.get(self.code, "the NVIDIA driver reports an error")

    @property
    def lost(self) -> bool:
        """Return whether the card is gone until it is reset, or the machine started anew."""
        return self.code in (GPU_IS_LOST, RESET_REQUIRED)


INVALID_ARGUMENT = 2
NOT_SUPPORTED = 3
NOT_FOUND = 6
LIBRARY_NOT_FOUND = 12
FUNCTION_NOT_FOUND = 13
GPU_IS_LOST = 15
RESET_REQUIRED = 16
VERSION_MISMATCH = 18
UNKNOWN = 999
#: The answers that mean: this card, or this driver, does not tell that at all.
UNTOLD = frozenset({INVALID_ARGUMENT, NOT_SUPPORTED, FUNCTION_NOT_FOUND})

_WHY: Mapping[int, str] = MappingProxyType(
    {
        1: "the driver's library is not open",
        INVALID_ARGUMENT: "this driver does not know the question",
        NOT_SUPPORTED: "this card does not tell it",
        4: "the driver does not let this account ask",
        NOT_FOUND: "the driver does not know the card",
        9: "the NVIDIA driver is not loaded",
        10: "the driver did not answer in time",
        LIBRARY_NOT_FOUND: "no NVIDIA driver is installed here",
        FUNCTION_NOT_FOUND: "this driver does not know the question",
        14: "the card's own memory of itself is damaged",
        GPU_IS_LOST: "the card is lost: it no longer answers on its bus",
        RESET_REQUIRED: "the card needs a reset, or a restart of the machine",
        17: "the operating system refused the driver's request",
        VERSION_MISMATCH: "the driver in the kernel and its library differ in version: restart "
        "the machine",
        27: "the card is not ready yet",
        28: "the driver finds no card",
        UNKNOWN: "the driver reports an unknown error",
    }
)


class Nvml(Protocol):
    """The library, opened. Every method may raise NvmlError."""

    def driver(self) -> str:
        """Return the driver's version."""

    def cards(self) -> tuple[str, ...]:
        """Return the UUIDs of the cards, in no order that means anything."""

    def number(self, card: str, what: Number) -> int:
        """Return a number of the card with this UUID."""

    def text(self, card: str, what: Text) -> str:
        """Return a text of the card with this UUID."""

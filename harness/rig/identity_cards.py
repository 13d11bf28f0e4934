"""What the graphics cards of a machine are, from the driver: fields of the fingerprint.

Pure. The driver is handed in. Cards are named by UUID and bus address, never by a
number: that changes with a restart, or when a second card is added.
"""

from __future__ import annotations

from collections.abc import Callable

from harness.rig import fingerprint_fields as f
from harness.rig.identity import IdentityField
from harness.rig.sensors.nvml import Number, Nvml, NvmlError, Text
from harness.rig.sensors.pci import pci_address
from harness.rig.sensors.source import Unreadable

_WHERE = "NVML"


def card_fields(opened: Callable[[], Nvml]) -> tuple[IdentityField, ...]:
    """Return the fields of the cards.

    Args:
        opened: Returns the driver's library; it may raise NvmlError or ImportError, each time
            it is asked.
    """

    def field(name: str, read: Callable[[Nvml], str], *, each_pass: bool = False) -> IdentityField:
        return IdentityField(
            name=name, read=lambda: _asked(opened, read), where=_WHERE, each_pass=each_pass
        )

    return (
        field("gpu.driver", lambda nvml: nvml.driver(), each_pass=True),
        field("gpu.power.limit", _power_limits, each_pass=True),
        field(f.GPU_CARDS, _cards),
        field("gpu.firmware", lambda nvml: _each(nvml, Text.FIRMWARE)),
        field("gpu.link.width", lambda nvml: _most(nvml, Number.LINK_WIDTH_SYSTEM, "{} lanes")),
        field(
            "gpu.link.generation",
            lambda nvml: _most(nvml, Number.LINK_GENERATION_SYSTEM, "generation {}"),
        ),
    )


def _asked(opened: Callable[[], Nvml], read: Callable[[Nvml], str]) -> str:
    try:
        return read(opened())
    except NvmlError as error:
        raise Unreadable(error.why) from error
    except ImportError as error:
        raise Unreadable("nvidia-ml-py is not installed") from error


def _cards(nvml: Nvml) -> str:
    return "; ".join(
        f"{nvml.text(card, Text.MODEL)} {card} at {pci_address(nvml.text(card, Text.ADDRESS))}"
        for card in _sorted(nvml)
    )


def _each(nvml: Nvml, what: Text) -> str:
    return _joined([(card, nvml.text(card, what)) for card in _sorted(nvml)])


def _most(nvml: Nvml, what: Number, form: str) -> str:
    """Return the most that the card and its slot can have together: what idles is not judged."""
    return _joined(
        [(card, "at most " + form.format(nvml.number(card, what))) for card in _sorted(nvml)]
    )


def _power_limits(nvml: Nvml) -> str:
    return _joined(
        [(card, f"{nvml.number(card, Number.POWER_LIMIT) / 1000:g} W") for card in _sorted(nvml)]
    )


def _sorted(nvml: Nvml) -> tuple[str, ...]:
    cards = tuple(sorted(nvml.cards()))
    if not cards:
        raise Unreadable("the driver finds no card")
    return cards


def _joined(told: list[tuple[str, str]]) -> str:
    """Return what one card says; of several, each with its UUID."""
    return told[0][1] if len(told) == 1 else "; ".join(f"{card}: {text}" for card, text in told)

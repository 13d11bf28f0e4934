"""One card: which it is, and whether it still answers.

Pure but for the library it is handed. The card is bound by its UUID, never by a number that
changes with a boot. One that is lost is asked one question a look until it answers again.
"""

from __future__ import annotations

from collections.abc import Sequence

from harness.rig.sensors.nvml import Number, Nvml, NvmlError, Text
from harness.rig.sensors.pci import pci_address


class NoCard(Exception):
    """No one card is meant; the text says why, as a reading's reason."""


def chosen(cards: Sequence[str], *, named: str | None) -> str:
    """Return the UUID of the card under test.

    Args:
        cards: The UUIDs that the driver shows.
        named: The UUID that the plan names, or a beginning of it that only one card has;
            None: the only card.

    Raises:
        NoCard: there is none, or it is not clear which.
    """
    there = ", ".join(sorted(cards))
    if not cards:
        raise NoCard("the NVIDIA driver shows no card")
    if named is None:
        if len(cards) > 1:
            raise NoCard(f"several cards, name one in rig.gpu: {there}")
        return cards[0]
    begins = [card for card in cards if card.lower().startswith(named.lower())]
    exact = [card for card in begins if len(card) == len(named)]
    if len(exact or begins) == 1:
        return (exact or begins)[0]
    if begins:
        raise NoCard(f"rig.gpu {named} is the beginning of several: {', '.join(sorted(begins))}")
    raise NoCard(f"rig.gpu {named} is not here; the driver shows {there}")


class Card:
    """One card, and whether it still answers.

    Attributes:
        uuid: Its lasting name.
        address: Its PCI address as the kernel writes it; None where the driver does not say.
        identity: Model, UUID and address, as a person reads them.
    """

    def __init__(self, nvml: Nvml, uuid: str) -> None:
        self._nvml, self.uuid = nvml, uuid
        self._lost: NvmlError | None = None
        self._last: tuple[float, int] | None = None
        self._lost_at_s = 0.0
        self.address = self._address()
        model = self._text(Text.MODEL)
        self.identity = ", ".join(part for part in (model, uuid, self.address) if part)

    @property
    def lost(self) -> str | None:
        """Return that the card is lost, with what was read last; None while it answers."""
        if self._lost is None:
            return None
        text = f"{self.identity}: {self._lost.why} ({self._lost})"
        if self._last is None:
            return text
        at_s, temperature = self._last
        return f"{text}; {self._lost_at_s - at_s:.0f} s before it was at {temperature} °C"

    def driver(self) -> str:
        """Return the driver's version. Raises NvmlError."""
        return self._nvml.driver()

    def number(self, what: Number) -> int:
        """Return a number. Raises NvmlError."""
        return self._nvml.number(self.uuid, what)

    def text(self, what: Text) -> str:
        """Return a text. Raises NvmlError."""
        return self._nvml.text(self.uuid, what)

    def look(self, at_s: float) -> int | NvmlError:
        """Return its temperature now, °C, or why there is none: so it is told whether it is there.

        Once lost it stays so until it answers, whatever else it says meanwhile.
        """
        try:
            temperature = self.number(Number.TEMPERATURE)
        except NvmlError as error:
            if self._lost is None and error.lost:
                self._lost, self._lost_at_s = error, at_s
            return self._lost or error
        self._lost, self._last = None, (at_s, temperature)
        return temperature

    def _address(self) -> str | None:
        try:
            return pci_address(self.text(Text.ADDRESS))
        except (NvmlError, ValueError):
            return None

    def _text(self, what: Text) -> str:
        try:
            return self.text(what)
        except NvmlError:
            return ""

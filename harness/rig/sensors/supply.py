"""What the rig runs on, mains or a battery, from the Linux kernel's power supply class.

Touches disk. Format: the kernel's document on the power supply class. Three traps: a supply
whose ``scope`` is *Device* is a mouse's or a headset's, not the rig's; a desktop may show USB
ports that supply nothing, which does not mean that it runs on a battery it does not have; and
reading a battery wakes a slow controller, so that it is left alone where a plug answers.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from harness.rig.readings import Reading, measured, not_measured
from harness.rig.sensors.kept import KeptFile, text_of
from harness.rig.sensors.source import Absent, Source, Unreadable

_NAME = "power.source"
_MAINS, _BATTERY = "mains", "battery"
#: What a battery's ``status`` tells about the rig. An unknown one tells nothing.
_OF_STATUS: Mapping[bytes, str] = {
    b"Charging": _MAINS,
    b"Full": _MAINS,
    b"Not charging": _MAINS,
    b"Discharging": _BATTERY,
}


class PowerSource:
    """power.source: mains, or battery."""

    names = (_NAME,)
    each_tick = True

    def __init__(self, *, plugs: list[Path], batteries: list[Path]) -> None:
        """Open the ``online`` files of plugs; without any, the ``status`` files of batteries."""
        shown = plugs or batteries
        self.where = ", ".join(f"{path.parent.name} {path.name}" for path in shown)
        self._plugs = [KeptFile(path) for path in plugs]
        self._batteries = [KeptFile(path) for path in (batteries if not plugs else [])]
        self._has_battery = bool(batteries)

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return ``mains`` where any plug supplies the rig, else ``battery``.

        Raises:
            OSError, Unreadable: a supply does not answer.
        """
        failure: OSError | Unreadable | None = None
        for file in self._plugs:
            try:
                # 1: online, 2: online with a choice of voltages (USB).
                if file.number() > 0:
                    return {_NAME: measured(_NAME, _MAINS)}
            except (OSError, Unreadable) as error:
                failure = error
        if failure is not None:
            raise failure
        if self._plugs and self._has_battery:
            return {_NAME: measured(_NAME, _BATTERY)}
        if self._plugs:
            why = "no supply is connected, and no battery of the rig is shown"
            return {_NAME: not_measured(_NAME, why, raw=self.where)}
        return {_NAME: self._by_batteries()}

    def _by_batteries(self) -> Reading:
        said = [file.read().strip() for file in self._batteries]
        words = {_OF_STATUS[status] for status in said if status in _OF_STATUS}
        if not words:
            shown = b", ".join(said).decode(errors="replace")
            raise Unreadable("the batteries do not say what they do", raw=shown)
        # One battery that empties is what the rig runs on, whatever the others do.
        return measured(_NAME, _BATTERY if _BATTERY in words else _MAINS)


def power_source(supplies: Path = Path("/sys/class/power_supply")) -> Source:
    """Return the source of power.source."""
    plugs: list[Path] = []
    batteries: list[Path] = []
    others: list[str] = []
    for supply in sorted(supplies.glob("*")):
        kind = text_of(supply / "type")
        if text_of(supply / "scope") == "Device":
            others.append(supply.name)
        elif kind in ("Battery", "UPS") and (supply / "status").exists():
            batteries.append(supply / "status")
        elif kind not in ("Battery", "UPS", None) and (supply / "online").exists():
            plugs.append(supply / "online")
    if not plugs and not batteries:
        why = "the kernel shows no power supply here"
        why += f" but of other things ({', '.join(others)})" if others else ""
        return Absent(where=str(supplies), names=PowerSource.names, why=why)
    return PowerSource(plugs=plugs, batteries=batteries)

"""The processor's temperature from the Linux kernel's sensor chips, or its thermal zones.

Touches disk. Formats: the kernel's documents on the hwmon and thermal classes. Chips and zones
are numbered anew at every boot, so an input is known by what lasts: its chip's name, its label
and the device it sits on; a zone by its type.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from harness.rig.readings import Reading, measured, not_measured
from harness.rig.sensors.kept import KeptFile, text_of
from harness.rig.sensors.source import Absent, Source, Unreadable

#: Chips that measure a processor, with the labels of the whole package, best first. Only that one
#: is read where it is there: each core's own input would wake that core in the middle of a pass.
CPU_CHIPS: Mapping[str, tuple[str, ...]] = {
    "coretemp": ("Package id",),
    "k10temp": ("Tdie", "Tctl"),
    "zenpower": ("Tdie", "Tctl"),
    "cpu_thermal": (),
    "cpu-thermal": (),
    "via_cputemp": (),
}
#: Types of thermal zones that are the processor. ``acpitz`` is not: firmware may mean anything by
#: it, and many boards show one number for ever. Common practice, no source.
CPU_ZONES = ("x86_pkg_temp", "cpu-thermal", "cpu_thermal", "soc_thermal", "TCPU", "cpu0-thermal")
_ALARMS = ("alarm", "crit_alarm", "emergency_alarm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One input of a chip, and what lasts of it."""

    identity: str
    path: Path


class Temperatures:
    """cpu.temperature: the hottest of the processor's inputs."""

    names = ("cpu.temperature",)
    each_tick = True

    def __init__(self, inputs: list[Input]) -> None:
        """Open what can be opened. Raises OSError where nothing can."""
        self.where = "; ".join(each.identity for each in inputs)
        self._inputs: list[tuple[Input, KeptFile, KeptFile | None, list[KeptFile]]] = []
        failure: OSError | None = None
        for each in inputs:
            try:
                file = KeptFile(each.path)
            except OSError as error:
                failure = error
                continue
            rings = [ring for what in _ALARMS if (ring := _beside(each.path, what)) is not None]
            self._inputs.append((each, file, _beside(each.path, "fault"), rings))
        if not self._inputs and failure is not None:
            raise failure

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return it, °C. An input that fails, or that its chip calls faulty, is left out.

        ``raw`` names the alarms that are on: the chip's own, some of which stay on for ever.

        Raises:
            OSError, Unreadable: what the last one failed with, where none is left.
        """
        (name,) = self.names
        values, alarms, faulty, failure = [], [], [], None
        for each, file, fault, rings in self._inputs:
            try:
                if fault is not None and fault.number() != 0:
                    faulty.append(each.identity)
                    continue
                values.append(file.number() / 1000.0)
                alarms += [ring.path.name for ring in rings if ring.read().strip() == b"1"]
            except (OSError, Unreadable) as error:
                failure = error
        if not values and failure is not None:
            raise failure
        if not values:
            return {name: not_measured(name, "the chip reports a fault", raw=", ".join(faulty))}
        plausible = [value for value in values if measured(name, value).measured]
        raw = f"alarm: {', '.join(alarms)}" if alarms else None
        reading = measured(name, max(plausible or values), raw=raw)
        return {name: reading}


def _beside(path: Path, what: str) -> KeptFile | None:
    other = path.with_name(path.name.replace("_input", f"_{what}"))
    if other == path:
        return None
    try:
        return KeptFile(other)
    except OSError:  # most chips have none
        return None


def temperatures(
    hwmon: Path = Path("/sys/class/hwmon"), *, thermal: Path = Path("/sys/class/thermal")
) -> Source:
    """Return the source of cpu.temperature: a chip where there is one, else a thermal zone."""
    found = list(_cpu_inputs(hwmon)) or list(_cpu_zones(thermal))
    if not found:
        return Absent(
            where=f"{hwmon}, {thermal}",
            names=Temperatures.names,
            why="no processor sensor is shown here",
        )
    return Temperatures(found)


def inputs(hwmon: Path, kind: str) -> Iterator[tuple[str, str, Input]]:
    """Yield every input of every chip: the chip's name, the label, the input.

    Args:
        hwmon: ``/sys/class/hwmon``.
        kind: ``temp``, ``power``, ``freq`` …, as the files begin.
    """
    for folder in sorted(hwmon.glob("hwmon*")):
        chip = text_of(folder / "name")
        if not chip:
            continue
        device = folder / "device"
        on = device.resolve().name if device.exists() else ""
        for path in sorted(folder.glob(f"{kind}*_input"), key=_number):
            label = text_of(path.with_name(path.name.replace("_input", "_label")))
            what = label or path.name.removesuffix("_input")
            identity = f"{chip} {what}" + (f" on {on}" if on else "")
            # The real path lasts as long as the device; the one of the class is given away anew.
            yield chip, label or "", Input(identity=identity, path=path.resolve())


def _number(path: Path) -> int:
    found = re.search(r"\d+", path.name)
    return int(found[0]) if found else 0


def _cpu_inputs(hwmon: Path) -> Iterator[Input]:
    """Yield the inputs of the whole packages, of a chip that labels none every input it has."""
    by_chip: dict[Path, list[tuple[str, str, Input]]] = {}
    for chip, label, found in inputs(hwmon, "temp"):
        if chip in CPU_CHIPS:
            by_chip.setdefault(found.path.parent, []).append((chip, label, found))
    for mine in by_chip.values():
        for wanted in CPU_CHIPS[mine[0][0]]:
            whole = [found for _, label, found in mine if label.startswith(wanted)]
            if whole:
                yield from whole
                break
        else:
            yield from (found for _, _, found in mine)


def _cpu_zones(thermal: Path) -> Iterator[Input]:
    types = {zone: text_of(zone / "type") for zone in sorted(thermal.glob("thermal_zone*"))}
    for wanted in CPU_ZONES:
        zones = [zone for zone, kind in types.items() if kind == wanted]
        if zones:
            for zone in zones:
                yield Input(identity=f"thermal zone {wanted}", path=(zone / "temp").resolve())
            return

"""Trees of files as the Linux kernel shows them, laid out below a folder of a test.

Forms are those of the kernel's documents: hwmon, thermal, cpufreq, the thermal throttle
counters, PCI devices and their AER counters, power supplies.
"""

from __future__ import annotations

from pathlib import Path

from harness.rig.sensors.hwmon import temperatures
from harness.rig.sensors.link import link, link_errors
from harness.rig.sensors.linux import Pressure
from harness.rig.sensors.processor import clocks, throttle
from harness.rig.sensors.renewed import renewed
from harness.rig.sensors.source import Source
from harness.rig.sensors.supply import power_source


def files(folder: Path, texts: dict[str, str]) -> Path:
    """Write each text, and a newline after it, to its file below *folder*; return the folder."""
    for name, text in texts.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f"{text}\n")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def chip(root: Path, *, number: int, name: str, device: str, **texts: str) -> Path:
    """Make a chip at *device* and its entry in the class, numbered as this boot has it."""
    real = files(root / "devices" / device / "hwmon" / f"hwmon{number}", {"name": name, **texts})
    _linked(real / "device", root / "devices" / device)
    _linked(root / "class" / "hwmon" / f"hwmon{number}", real)
    return real


def zone(root: Path, *, number: int, kind: str, temp: str) -> Path:
    """Make a thermal zone."""
    folder = root / "class" / "thermal" / f"thermal_zone{number}"
    return files(folder, {"type": kind, "temp": temp})


def processor(cpus: Path, *, number: int, core: int, package: int = 0, **texts: str) -> Path:
    """Make a processor with throttle counters."""
    topology = {"topology/core_id": str(core), "topology/physical_package_id": str(package)}
    counters = {f"thermal_throttle/{name}": text for name, text in texts.items()}
    return files(cpus / f"cpu{number}", {**topology, **counters})


def supply(supplies: Path, name: str, **texts: str) -> Path:
    """Make a power supply."""
    return files(supplies / name, texts)


def device(
    root: Path,
    address: str,
    texts: dict[str, str],
    *,
    under: Path | None = None,
    kind: str = "0x030000",
) -> Path:
    """Make a PCI device below the root complex or below *under*, and its entry on the bus."""
    parent = under if under is not None else root / "devices" / "pci0000:00"
    real = files(parent / address, {"class": kind, **texts})
    _linked(root / "bus" / "pci" / "devices" / address, real)
    return real


def whole_rig(root: Path) -> tuple[Source, ...]:
    """Make a rig that shows all that the kernel can show; return its sources."""
    chip(root, number=1, name="coretemp", device="coretemp.0",
         temp1_input="61000", temp1_label="Package id 0", temp1_fault="0")  # fmt: skip
    processor(root / "cpu", number=0, core=0, core_throttle_count="0", package_throttle_count="4")
    files(root / "cpu" / "cpufreq" / "policy0", {"scaling_cur_freq": "4650000"})
    supply(root / "supplies", "AC", type="Mains", online="1")
    speed = {"current_link_speed": "16.0 GT/s PCIe", "max_link_speed": "16.0 GT/s PCIe"}
    width = {"current_link_width": "16", "max_link_width": "16"}
    counts = {"aer_dev_correctable": "TOTAL_ERR_COR 3"}
    device(root, "0000:01:00.0", {**speed, **width, **counts})
    line = "some avg10=1.50 avg60=0.20 avg300=0.05 total=123456"
    files(root / "pressure", {"cpu": line, "memory": line, "io": line})
    devices = root / "bus" / "pci" / "devices"
    return (
        renewed(lambda: temperatures(root / "class" / "hwmon", thermal=root / "thermal"))(),
        throttle(root / "cpu"),
        clocks(root / "cpu" / "cpufreq"),
        power_source(root / "supplies"),
        link(devices=devices),
        link_errors(devices=devices),
        Pressure(root / "pressure"),
    )


def _linked(link: Path, target: Path) -> None:
    link.parent.mkdir(parents=True, exist_ok=True)
    if not link.is_symlink():
        link.symlink_to(target, target_is_directory=True)

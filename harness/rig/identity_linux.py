"""What a Linux machine is, from the files of its kernel: the table of fields.

Touches disk. Names and formats: the kernel's documents on cpufreq, the CPU's vulnerabilities,
the platform profile and the block layer; DMI as the firmware has it. Nothing here names the
host or a person. What only the administrator may read is not measured for others, and says so.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from functools import partial
from pathlib import Path

from harness.rig import fingerprint_fields as f
from harness.rig.identity import IdentityField
from harness.rig.sensors import machine
from harness.rig.sensors.linux import gib
from harness.rig.sensors.source import Unreadable
from harness.rig.smbios import MemoryModule, counted, memory_modules

_CPU = "sys/devices/system/cpu"
_DMI = "sys/class/dmi/id"
_TABLE = "sys/firmware/dmi/tables/DMI"
_NO_DRIVER = "no frequency driver is at work here"
_SECTOR_BYTES = 512  # of /sys/block/*/size, whatever the disk's own sectors are


def linux_fields(root: Path = Path("/")) -> tuple[IdentityField, ...]:
    """Return the fields of the Linux machine whose files are under *root*."""

    def field(
        name: str, read: Callable[[Path], str], where: str, *, each_pass: bool = False
    ) -> IdentityField:
        return IdentityField(
            name=name, read=partial(read, root), where=f"/{where}", each_pass=each_pass
        )

    return (
        field("os.build", os_build, "etc/os-release", each_pass=True),
        field(f.KERNEL_BUILD, _kernel, "proc/sys/kernel"),
        field(f.CPU_GOVERNOR, _governor, f"{_CPU}/cpufreq", each_pass=True),
        field(f.CPU_PREFERENCE, _preference, f"{_CPU}/cpufreq", each_pass=True),
        field(f.CPU_BOOST, _boost, f"{_CPU}/cpufreq", each_pass=True),
        field(f.POWER_PLAN, _power_plan, "sys/firmware/acpi", each_pass=True),
        field(f.CPU_THREADS, _threads, _CPU, each_pass=True),
        field(f.CPU_MODEL, _processor, "proc/cpuinfo"),
        field(f.CPU_MICROCODE, partial(_cpuinfo, key="microcode"), "proc/cpuinfo"),
        field(f.CPU_CORES, _cores, _CPU),
        field(f.CPU_DRIVER, _driver, f"{_CPU}/cpufreq"),
        field(f.CPU_MITIGATIONS, _mitigations, f"{_CPU}/vulnerabilities"),
        field(f.BOARD_MODEL, partial(_dmi, names=("board_vendor", "board_name")), _DMI),
        field(
            "firmware.version",
            partial(_dmi, names=("bios_vendor", "bios_version", "bios_date")),
            _DMI,
        ),
        field(f.MEMORY_SIZE, _memory, "proc/meminfo"),
        field(f.MEMORY_MODULES, _modules, _TABLE),
        field("disks", disks, "sys/block"),
    )


def os_build(root: Path) -> str:
    """Return the operating system and its build, and the kernel's release."""
    text = (root / "etc/os-release").read_text(encoding="utf-8", errors="replace")
    found = dict(re.findall(r"^([A-Z_]+)=[\"']?(.*?)[\"']?$", text, flags=re.M))
    name = found.get("PRETTY_NAME") or found.get("NAME") or "Linux"
    build = found.get("BUILD_ID") or found.get("VERSION_ID", "")
    shown = name if build in name else f"{name} {build}"
    return f"{shown}, Linux {_text(root / 'proc/sys/kernel/osrelease')}"


def _kernel(root: Path) -> str:
    return _text(root / "proc/sys/kernel/version")


# --- the processor --------------------------------------------------------------------------


def _processor(root: Path) -> str:
    model = _cpuinfo(root, key="model name")
    try:
        return f"{model} (stepping {_cpuinfo(root, key='stepping')})"
    except Unreadable:
        return model


def _cpuinfo(root: Path, *, key: str) -> str:
    """Return one line of the first processor. Only some architectures write a model there."""
    text = (root / "proc/cpuinfo").read_text(encoding="utf-8", errors="replace")
    for line in text.split("\n\n", 1)[0].splitlines():
        name, _, value = line.partition(":")
        if name.strip() == key and value.strip():
            return value.strip()
    raise Unreadable(f"/proc/cpuinfo tells no {key}")


def _cores(root: Path) -> str:
    """Return how many cores and packages there are."""
    topologies = sorted((root / _CPU).glob("cpu[0-9]*/topology"))
    cores = {(_text(path / "physical_package_id"), _text(path / "core_id")) for path in topologies}
    if not cores:
        raise Unreadable("the kernel shows no cores here")
    packages = len({package for package, _ in cores})
    return f"{len(cores)} cores" + (f" in {packages} packages" if packages > 1 else "")


def _threads(root: Path) -> str:
    """Return which processors are switched on: ``0-15``."""
    return _text(root / _CPU / "online")


def _governor(root: Path) -> str:
    return _of_policies(root, "scaling_governor")


def _preference(root: Path) -> str:
    return _of_policies(root, "energy_performance_preference")


def _driver(root: Path) -> str:
    return _of_policies(root, "scaling_driver")


def _of_policies(root: Path, name: str) -> str:
    """Return what all cores say of themselves: one word, or how many say which."""
    folder = os.path.join(root, _CPU, "cpufreq")  # noqa: PTH118 - before every pass, every core
    try:
        policies = [each for each in os.listdir(folder) if each.startswith("policy")]  # noqa: PTH208
    except FileNotFoundError:
        policies = []
    if not policies:
        raise Unreadable(_NO_DRIVER)
    said = []
    for policy in policies:
        try:
            said.append(_said(f"{folder}/{policy}/{name}"))
        except FileNotFoundError:
            continue
    if not said:
        raise Unreadable(f"the frequency driver has no {name}")
    words = sorted(set(said))
    if len(words) == 1:
        return words[0]
    return ", ".join(f"{word} ({said.count(word)} of {len(said)})" for word in words)


def _boost(root: Path) -> str:
    """Return whether clocks above the base clock are allowed: on, or off."""
    # Both files are there or neither; the Intel driver's says the contrary, in its own words.
    for path, on in (("cpufreq/boost", "1"), ("intel_pstate/no_turbo", "0")):
        if (root / _CPU / path).exists():
            return "on" if _text(root / _CPU / path) == on else "off"
    raise Unreadable(_NO_DRIVER)


def _mitigations(root: Path) -> str:
    """Return how the kernel guards against each weakness of the processor that it has."""
    said = [
        f"{path.name}: {_text(path)}"
        for path in sorted((root / _CPU / "vulnerabilities").iterdir())
    ]
    return "; ".join(line for line in said if not line.endswith(": Not affected")) or "none needed"


def _power_plan(root: Path) -> str:
    return _text(root / "sys/firmware/acpi/platform_profile")


# --- board and memory -----------------------------------------------------------------------


def _dmi(root: Path, *, names: tuple[str, ...]) -> str:
    return " ".join(filter(None, (_text(root / _DMI / name) for name in names)))


def _memory(root: Path) -> str:
    """Return the size of main memory, to 0.1 GiB: the kernel's own share differs a little."""
    return f"{gib((root / 'proc/meminfo').read_bytes(), b'MemTotal:'):.1f} GiB"


def _told(root: Path) -> tuple[MemoryModule, ...]:
    modules = memory_modules((root / _TABLE).read_bytes())
    if not modules:
        raise Unreadable("the firmware names no memory modules")
    return modules


def _modules(root: Path) -> str:
    """Return the modules with size and part, by channel and slot as the firmware names them."""
    modules = _told(root)
    return f"{counted(modules)}: " + "; ".join(
        f"{' '.join(filter(None, (m.bank, m.slot)))}: {_size(m)} {m.maker} {m.part}".strip()
        for m in modules
    )


def _size(module: MemoryModule) -> str:
    if module.size_mib is None:
        return "size not told"
    gib_, rest = divmod(module.size_mib, 1024)
    return f"{module.size_mib} MiB" if rest else f"{gib_} GiB"


# --- disks ----------------------------------------------------------------------------------


def disks(root: Path) -> str:
    """Return the disks with model, size and serial, in an order that no restart changes."""
    blocks = root / "sys/block"
    there = [blocks / name for name in machine.disk_names(blocks)]
    found = sorted(_disk(block) for block in there if _first(block, "removable") != "1")
    if not found:
        raise Unreadable("the kernel shows no disk here")
    return ", ".join(found)


def _disk(block: Path) -> str:
    model = _first(block, "device/model") or block.name
    size = f"{int(_text(block / 'size')) * _SECTOR_BYTES / 1e9:.0f} GB"
    serial = _first(block, "device/serial", "serial") or _first(block, "wwid", "device/wwid")
    return f"{model} {size}" + (f" serial {serial}" if serial else "")


def _first(folder: Path, *names: str) -> str:
    for name in names:
        try:
            if text := _text(folder / name):
                return text
        except OSError:
            continue
    return ""


def _text(path: Path) -> str:
    return _said(str(path))


def _said(path: str) -> str:
    """Return what a small file of the kernel says, by one read of it."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        return os.read(descriptor, 65_536).decode("utf-8", errors="replace").strip()
    finally:
        os.close(descriptor)

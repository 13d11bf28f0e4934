"""A Linux machine as a tree of files under a folder, for whoever reads the kernel's files."""

from __future__ import annotations

from pathlib import Path

CPUINFO = """\
processor\t: 0
vendor_id\t: GenuineFen
model name\t: Fen 9 8-Core
stepping\t: 2
microcode\t: 0xa601206

processor\t: 1
model name\t: Fen 9 8-Core
"""
OS_RELEASE = (
    'NAME="Lantern OS"\nPRETTY_NAME="Lantern OS 12 (harbour)"\nVERSION_ID="12"\nID=lantern\n'
)


class LinuxRoot:
    """The files; every part can be changed, or taken away, by a test."""

    def __init__(self, folder: Path) -> None:
        self.path = folder
        self.write("etc/os-release", OS_RELEASE)
        self.write("proc/sys/kernel/osrelease", "6.8.0-40-generic\n")
        self.write("proc/sys/kernel/version", "#40-Lantern SMP PREEMPT_DYNAMIC\n")
        self.write("proc/cpuinfo", CPUINFO)
        self.write("proc/meminfo", "MemTotal:       32798240 kB\nMemFree:  1 kB\n")
        cpu = "sys/devices/system/cpu"
        self.write(f"{cpu}/online", "0-1\n")
        for number in (0, 1):
            self.write(f"{cpu}/cpu{number}/topology/physical_package_id", "0\n")
            self.write(f"{cpu}/cpu{number}/topology/core_id", f"{number}\n")
            policy = f"{cpu}/cpufreq/policy{number}"
            self.write(f"{policy}/scaling_governor", "performance\n")
            self.write(f"{policy}/scaling_driver", "amd-pstate-epp\n")
            self.write(f"{policy}/energy_performance_preference", "performance\n")
        self.write(f"{cpu}/cpufreq/boost", "1\n")
        self.write(f"{cpu}/vulnerabilities/meltdown", "Not affected\n")
        self.write(f"{cpu}/vulnerabilities/spectre_v2", "Mitigation: Retpolines\n")
        self.write("sys/firmware/acpi/platform_profile", "performance\n")
        dmi = "sys/class/dmi/id"
        for name, text in (
            ("board_vendor", "Basalt"),
            ("board_name", "B650-RUN"),
            ("bios_vendor", "Basalt Firmware"),
            ("bios_version", "3.40"),
            ("bios_date", "03/02/2026"),
        ):
            self.write(f"{dmi}/{name}", f"{text}\n")
        self.disk("nvme0n1", model="LAB-SYS-1T", serial="S1")
        (folder / "lib/modules/6.8.0-40-generic").mkdir(parents=True)

    def write(self, name: str, text: str | bytes) -> None:
        path = self.path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text if isinstance(text, bytes) else text.encode())

    def disk(self, name: str, *, model: str, serial: str = "", removable: bool = False) -> None:
        self.write(f"sys/block/{name}/device/model", f"{model}   \n")
        self.write(f"sys/block/{name}/size", "1953525168\n")
        self.write(f"sys/block/{name}/removable", "1\n" if removable else "0\n")
        if serial:
            self.write(f"sys/block/{name}/device/serial", f"{serial}\n")

"""The Windows table over a fake of the system. It has not run on Windows."""

from __future__ import annotations

from dataclasses import dataclass, field

from harness.rig.fingerprint_fields import FIELDS
from harness.rig.identity import look
from harness.rig.identity_windows import windows_fields
from harness.rig.quantities import QUANTITIES
from tests.rig.test_smbios import END, module

_NT = r"SOFTWARE\Microsoft\Windows NT\CurrentVersion"
_BIOS = r"HARDWARE\DESCRIPTION\System\BIOS"
_CPU = r"HARDWARE\DESCRIPTION\System\CentralProcessor\0"
_POWER = r"SYSTEM\CurrentControlSet\Control\Power\User\PowerSchemes"
_DISKS = r"SYSTEM\CurrentControlSet\Services\disk\Enum"


@dataclass
class FakeWindows:
    values: dict[tuple[str, str], str | int | bytes] = field(
        default_factory=lambda: {
            (_NT, "ProductName"): "Windows 10 Pro",
            (_NT, "DisplayVersion"): "24H2",
            (_NT, "CurrentBuildNumber"): "26100",
            (_NT, "UBR"): 2314,
            (_BIOS, "BaseBoardManufacturer"): "Basalt",
            (_BIOS, "BaseBoardProduct"): "B650-RUN",
            (_BIOS, "BIOSVendor"): "Basalt Firmware",
            (_BIOS, "BIOSVersion"): "3.40",
            (_BIOS, "BIOSReleaseDate"): "03/02/2026",
            (_CPU, "ProcessorNameString"): "Fen 9 8-Core   ",
            (_CPU, "Update Revision"): bytes.fromhex("000000000d010000"),
            (_POWER, "ActivePowerScheme"): "guid-1",
            (rf"{_POWER}\guid-1", "FriendlyName"): "@powrprof.dll,-15,High performance",
            (_DISKS, "Count"): 2,
            (_DISKS, "0"): r"SCSI\Disk&Ven_NVMe&Prod_LAB-SYS-1T\5&1",
            (_DISKS, "1"): r"SCSI\Disk&Ven_NVMe&Prod_LAB-DATA\5&2",
        }
    )

    def value(self, key: str, name: str) -> str | int | bytes:
        try:
            return self.values[key, name]
        except KeyError:
            raise FileNotFoundError(2, "The system cannot find the file specified", key) from None

    def firmware_table(self) -> bytes:
        return module() + END

    def cores(self) -> tuple[int, int]:
        return 8, 16

    def memory_bytes(self) -> int:
        return 32 * 2**30


def test_every_field_of_a_windows_machine() -> None:
    assert dict(look(windows_fields(FakeWindows()), full=True).fields) == {
        "os.build": "Windows 11 Pro 24H2, build 26100.2314",
        "power.plan": "High performance (guid-1)",
        "cpu.model": "Fen 9 8-Core",
        "cpu.microcode": "0x10d",
        "cpu.cores": "8 cores, 16 threads",
        "board.model": "Basalt B650-RUN",
        "firmware.version": "Basalt Firmware 3.40 03/02/2026",
        "memory.size": "32.0 GiB",
        "memory.modules": "1 module: CHANNEL A DIMM_A2: 16384 MiB Copper Fen Memory CF-6000-16",
        "memory.speed": "6000 MT/s",
        "disks": r"SCSI\Disk&Ven_NVMe&Prod_LAB-DATA\5&2, SCSI\Disk&Ven_NVMe&Prod_LAB-SYS-1T\5&1",
    }


def test_every_field_has_a_name_that_a_plan_may_write() -> None:
    names = {field.name for field in windows_fields(FakeWindows())}
    assert names <= set(FIELDS) | QUANTITIES.keys()


def test_a_value_that_is_missing_costs_its_field_and_says_why() -> None:
    system = FakeWindows()
    del system.values[_NT, "UBR"]
    found = look(windows_fields(system), full=True)
    assert "os.build" not in found.fields
    assert "the system shows no" in found.unread["os.build"]
    assert "cpu.model" in found.fields

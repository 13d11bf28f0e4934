from __future__ import annotations

import os
from pathlib import Path

import pytest

from harness.rig.fingerprint_fields import FIELDS
from harness.rig.identity import Identity, look
from harness.rig.identity_linux import linux_fields
from harness.rig.quantities import QUANTITIES
from tests.rig.linux_root import LinuxRoot
from tests.rig.test_smbios import END, module


def taken(root: LinuxRoot, *, full: bool = True) -> Identity:
    return look(linux_fields(root.path), full=full)


@pytest.fixture
def root(tmp_path: Path) -> LinuxRoot:
    return LinuxRoot(tmp_path)


def test_every_field_of_a_whole_machine(root: LinuxRoot) -> None:
    root.write("sys/firmware/dmi/tables/DMI", module() + END)
    assert dict(taken(root).fields) == {
        "os.build": "Lantern OS 12 (harbour), Linux 6.8.0-40-generic",
        "kernel.build": "#40-Lantern SMP PREEMPT_DYNAMIC",
        "cpu.governor": "performance",
        "cpu.preference": "performance",
        "cpu.boost": "on",
        "power.plan": "performance",
        "cpu.threads": "0-1",
        "cpu.model": "Fen 9 8-Core (stepping 2)",
        "cpu.microcode": "0xa601206",
        "cpu.cores": "2 cores",
        "cpu.driver": "amd-pstate-epp",
        "cpu.mitigations": "spectre_v2: Mitigation: Retpolines",
        "board.model": "Basalt B650-RUN",
        "firmware.version": "Basalt Firmware 3.40 03/02/2026",
        "memory.size": "31.3 GiB",
        "memory.modules": "1 module: CHANNEL A DIMM_A2: 16 GiB Copper Fen Memory CF-6000-16",
        "disks": "LAB-SYS-1T 1000 GB serial S1",
    }


def test_every_field_has_a_name_that_a_plan_may_write(root: LinuxRoot) -> None:
    names = {field.name for field in linux_fields(root.path)}
    assert names <= set(FIELDS) | QUANTITIES.keys()


def test_a_version_stays_the_text_it_was(root: LinuxRoot) -> None:
    root.write("sys/class/dmi/id/bios_version", "3.4\n")
    changed = taken(root).fields["firmware.version"]
    assert changed == "Basalt Firmware 3.4 03/02/2026"


def test_an_empty_machine_has_no_field_and_says_why_of_each(tmp_path: Path) -> None:
    found = look(linux_fields(tmp_path), full=True)
    assert not found.fields
    assert found.unread.keys() == {field.name for field in linux_fields(tmp_path)}
    assert all(found.unread.values())
    assert found.unread["cpu.governor"] == "no frequency driver is at work here"


@pytest.mark.skipif(os.geteuid() == 0, reason="the administrator may read it")
def test_a_table_for_the_administrator_only_is_not_measured_and_says_so(root: LinuxRoot) -> None:
    root.write("sys/firmware/dmi/tables/DMI", module() + END)
    (root.path / "sys/firmware/dmi/tables/DMI").chmod(0)
    assert "this account may not read" in taken(root).unread["memory.modules"]


def test_what_the_account_may_not_read_says_so(
    root: LinuxRoot, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "read_bytes", refused)
    why = taken(root).unread["memory.modules"]
    assert why.startswith("this account may not read ")
    assert why.endswith("DMI")


def test_the_order_in_which_the_kernel_names_disks_means_nothing(root: LinuxRoot) -> None:
    # Numbers change with a restart, and when a second disk is added.
    root.disk("sda", model="LAB-TEST-2T", serial="A")
    root.disk("sdb", model="LAB-DATA-4T", serial="B")
    before = taken(root).fields["disks"]
    root.disk("sda", model="LAB-DATA-4T", serial="B")
    root.disk("sdb", model="LAB-TEST-2T", serial="A")
    assert taken(root).fields["disks"] == before


def test_a_disk_more_is_another_fingerprint_and_a_stick_is_not(root: LinuxRoot) -> None:
    # A second drive may take half the lanes of the card's slot.
    before = taken(root).fields["disks"]
    root.disk("sda", model="STICK", removable=True)
    assert taken(root).fields["disks"] == before
    root.disk("nvme1n1", model="LAB-TEST-2T")
    assert taken(root).fields["disks"] == "LAB-SYS-1T 1000 GB serial S1, LAB-TEST-2T 1000 GB"


def test_one_core_with_another_governor_shows(root: LinuxRoot) -> None:
    root.write("sys/devices/system/cpu/cpufreq/policy1/scaling_governor", "powersave\n")
    assert taken(root).fields["cpu.governor"] == "performance (1 of 2), powersave (1 of 2)"


def test_the_intel_driver_says_boost_the_other_way_round(root: LinuxRoot) -> None:
    (root.path / "sys/devices/system/cpu/cpufreq/boost").unlink()
    root.write("sys/devices/system/cpu/intel_pstate/no_turbo", "1\n")
    assert taken(root).fields["cpu.boost"] == "off"


def test_the_cheap_look_holds_exactly_what_can_change_without_a_restart(root: LinuxRoot) -> None:
    cheap, full = taken(root, full=False).fields, taken(root).fields
    assert cheap.items() <= full.items()
    assert cheap.keys() == {
        "os.build", "cpu.governor", "cpu.preference", "cpu.boost", "power.plan", "cpu.threads",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("file", "text", "field"),
    [
        ("etc/os-release", 'PRETTY_NAME="Lantern OS 12.1"\n', "os.build"),
        ("sys/devices/system/cpu/cpufreq/boost", "0\n", "cpu.boost"),
        ("sys/firmware/acpi/platform_profile", "low-power\n", "power.plan"),
        ("sys/devices/system/cpu/online", "0\n", "cpu.threads"),
    ],
)
def test_what_an_update_or_a_person_changes_between_two_passes_is_seen(
    root: LinuxRoot, file: str, text: str, field: str
) -> None:
    before = taken(root, full=False).fields
    root.write(file, text)
    after = taken(root, full=False).fields
    assert {name for name in after if after[name] != before[name]} == {field}

from __future__ import annotations

import pytest

from harness.rig.sensors.pci import pci_address


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0000:17:00.0", "0000:17:00.0"),  # as the kernel's folders are named
        ("00000000:0A:00.0", "0000:0a:00.0"),  # as the NVIDIA driver writes it
        ("0000:0A:1f.3\n", "0000:0a:1f.3"),
        ("00010000:01:00.0", "10000:01:00.0"),  # a domain above ffff keeps its digits
    ],
)
def test_the_address_is_the_one_of_the_kernels_folder(text: str, expected: str) -> None:
    assert pci_address(text) == expected


@pytest.mark.parametrize("text", ["", "17:00.0", "0000:17:00", "0000:17:00.9", "GPU-1f0c"])
def test_what_is_no_full_address_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no PCI address"):
        pci_address(text)

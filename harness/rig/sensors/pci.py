"""The address of a PCI device, in the one form by which sources speak of the same card.

Pure. The kernel writes ``0000:17:00.0`` (domain of four hexadecimal digits, lower case) and
names its folders so; the NVIDIA driver writes ``00000000:17:00.0`` (domain of eight digits,
letters of either case). Some virtual machines have domains above ``ffff``: these keep their
digits in the kernel too.
"""

from __future__ import annotations

import re

_FORM = re.compile(r"([0-9a-fA-F]{1,8}):([0-9a-fA-F]{2}):([0-9a-fA-F]{2})\.([0-7])")


def pci_address(text: str) -> str:
    """Return the address as the kernel's folders have it.

    >>> pci_address("00000000:0A:00.0")
    '0000:0a:00.0'

    Raises:
        ValueError: *text* is no full address.
    """
    found = _FORM.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"no PCI address: {text!r}")
    domain, bus, device, function = found.groups()
    return f"{int(domain, 16):04x}:{bus.lower()}:{device.lower()}.{function}"

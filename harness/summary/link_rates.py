"""What a PCI Express link carries, as published: lanes × transfers × line coding.

Pure. One direction, decimal gigabytes a second, after line coding and before everything else
(packet headers, acknowledgements, flow control), so that no program ever reaches it. Transfer
rates and codings after the PCI Express Base Specification, generations 1 to 6, as the Linux
kernel has them in drivers/pci/pci.h: 8b/10b for the first two, 128b/130b for the next three, and
for the sixth 1b/1b with its error correction not taken off. So x8 of the fourth generation
carries exactly what x16 of the third does, and x8 of the third a little less than x16 of the
second.
"""

from __future__ import annotations

from fractions import Fraction

#: Generation -> (giga-transfers a second and lane, line coding).
_LANES: dict[int, tuple[Fraction, Fraction]] = {
    1: (Fraction(5, 2), Fraction(8, 10)),
    2: (Fraction(5), Fraction(8, 10)),
    3: (Fraction(8), Fraction(128, 130)),
    4: (Fraction(16), Fraction(128, 130)),
    5: (Fraction(32), Fraction(128, 130)),
    6: (Fraction(64), Fraction(1)),
}

WIDTHS = (1, 2, 4, 8, 12, 16, 32)


def link_gb_per_s(*, generation: int, width: int) -> Fraction | None:
    """Return the published rate in GB/s (10^9 bytes), exact; None: no such link is known.

    >>> link_gb_per_s(generation=4, width=8) == link_gb_per_s(generation=3, width=16)
    True
    >>> round(float(link_gb_per_s(generation=4, width=16)), 3)
    31.508
    """
    lane = _LANES.get(generation)
    if lane is None or width not in WIDTHS:
        return None
    return lane[0] * lane[1] * width / 8

from __future__ import annotations

from fractions import Fraction

import pytest

from harness.summary.link_rates import link_gb_per_s

# One direction, GB/s after line coding, from PCIE_SPEED2MBS_ENC of the Linux kernel
# (drivers/pci/pci.h, and "64 GT/s uses 1b/1b", PCIe r6.1 section 1.2).
PUBLISHED = {
    1: {1: 0.25, 2: 0.5, 4: 1.0, 8: 2.0, 16: 4.0},
    2: {1: 0.5, 2: 1.0, 4: 2.0, 8: 4.0, 16: 8.0},
    3: {1: 0.984615, 2: 1.969231, 4: 3.938462, 8: 7.876923, 16: 15.753846},
    4: {1: 1.969231, 2: 3.938462, 4: 7.876923, 8: 15.753846, 16: 31.507692},
    5: {1: 3.938462, 2: 7.876923, 4: 15.753846, 8: 31.507692, 16: 63.015385},
    6: {1: 8.0, 2: 16.0, 4: 32.0, 8: 64.0, 16: 128.0},
}


@pytest.mark.parametrize("generation", PUBLISHED)
def test_the_published_rates(generation: int) -> None:
    for width, rate in PUBLISHED[generation].items():
        found = link_gb_per_s(generation=generation, width=width)
        assert found is not None
        assert float(found) == pytest.approx(rate, abs=5e-7)


@pytest.mark.parametrize(
    ("generation", "width", "gbits"),
    # As the kernel logs them: "126.016 Gb/s available PCIe bandwidth" and the like. It
    # truncates each lane to whole Mb/s, so its figures are a little less.
    [(1, 16, 32.000), (3, 16, 126.016), (4, 16, 252.048)],
)
def test_the_kernels_own_figures_are_these_cut_down(
    generation: int, width: int, gbits: float
) -> None:
    found = link_gb_per_s(generation=generation, width=width)

    assert found is not None
    assert 0.0 <= float(8 * found) - gbits < 0.001 * width


def test_x8_of_generation_4_carries_exactly_what_x16_of_generation_3_does() -> None:
    wide = link_gb_per_s(generation=3, width=16)

    assert wide == link_gb_per_s(generation=4, width=8) == Fraction(1024, 65)


def test_x8_of_generation_3_does_not_carry_what_x16_of_generation_2_does() -> None:
    assert link_gb_per_s(generation=3, width=8) != link_gb_per_s(generation=2, width=16)


@pytest.mark.parametrize(("generation", "width"), [(0, 16), (7, 16), (4, 3), (4, 63), (4, 0)])
def test_a_link_that_nobody_knows_has_no_rate(generation: int, width: int) -> None:
    assert link_gb_per_s(generation=generation, width=width) is None

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.plan.document import By
from harness.summary.ceilings import TitleCeilings, ceilings, fit_bytes
from harness.summary.plateaus import RateAt, plateau
from harness.summary.sides import SideCell
from harness.views.ceilings import as_text
from tests.summary.comparing import a_pass, level, plan, side, title

#: A level that goes on with every lower setting, and one that cannot pass 90 frames a second.
FREE = [30.0, 60.0, 120.0, 200.0, 320.0]


def rates(tops: float, *, noise: float = 0.002, passes: int = 4) -> list[RateAt]:
    chance = np.random.default_rng(3)
    return [
        RateAt(
            setting=f"s{n}",
            other=free,
            rates=tuple(min(free, tops) * np.exp(noise * chance.standard_normal(passes))),
        )
        for n, free in enumerate(FREE)
    ]


def test_the_settings_on_a_ceiling_and_its_rate_are_found() -> None:
    found = plateau(rates(90.0), band=0.03)

    assert found is not None
    assert found.settings == ("s2", "s3", "s4")
    assert found.rate == pytest.approx(90.0, rel=0.003)
    assert found.low is not None
    assert found.high is not None
    assert found.low < 90.0 < found.high
    assert (found.other_from, found.other_to) == (120.0, 320.0)


def test_a_level_that_goes_on_has_no_ceiling() -> None:
    assert plateau(rates(1000.0), band=0.03) is None


def test_two_settings_that_are_merely_equally_heavy_are_no_ceiling() -> None:
    alike = [
        RateAt(setting="a", other=100.0, rates=(80.0, 80.2)),
        RateAt(setting="b", other=101.0, rates=(80.1, 80.0)),
    ]

    assert plateau(alike, band=0.03) is None


def test_one_setting_at_the_top_is_no_ceiling() -> None:
    assert plateau(rates(250.0), band=0.03) is None


@settings(deadline=None, max_examples=50)
@given(factor=st.floats(0.01, 100.0), order=st.permutations(range(5)))
def test_neither_the_unit_nor_the_order_of_settings_matters(
    factor: float, order: list[int]
) -> None:
    one = rates(90.0)
    other = [
        RateAt(
            setting=one[n].setting,
            other=factor * one[n].other,
            rates=tuple(factor * each for each in one[n].rates),
        )
        for n in order
    ]
    first, second = plateau(one, band=0.03), plateau(other, band=0.03)

    assert first is not None
    assert second is not None
    assert second.settings == first.settings
    assert second.rate == pytest.approx(factor * first.rate)


def test_the_interval_holds_the_true_ceiling_as_often_as_it_says() -> None:
    chance = np.random.default_rng(7)
    held = 0
    for _ in range(400):
        drawn = [
            RateAt(
                setting=f"s{n}",
                other=free,
                rates=tuple(min(free, 90.0) * np.exp(0.005 * chance.standard_normal(4))),
            )
            for n, free in enumerate(FREE)
        ]
        found = plateau(drawn, band=0.03)
        assert found is not None
        assert found.low is not None
        assert found.high is not None
        held += found.low <= 90.0 <= found.high

    # 95 % of 400 is 380, standard error 4.4: three of them.
    assert held >= 366


def grid(
    *, bytes_per_frame: float | tuple[tuple[str, float], ...] | None, wide: float, narrow: float
) -> list[SideCell]:
    names = ("s0", "s1", "s2", "s3")
    own = title(bytes_per_frame=bytes_per_frame)
    asked = plan(
        own,
        by=By.OPERATOR,
        settings=names,
        levels=(level("free"), level("wide", width=16), level("narrow", width=8)),
    )
    return [
        side(way, [min(free, top), min(free, top) * 1.001], of=asked, setting=setting)
        for way, top in (("free", math.inf), ("wide", wide), ("narrow", narrow))
        for setting, free in zip(names, (40.0, 200.0, 400.0, 700.0), strict=True)
    ]


def of(cells: list[SideCell]) -> TitleCeilings:
    found = ceilings(cells, condition="way", figure="average_fps", band=0.03)
    assert found is not None
    return found


def test_declared_bytes_make_a_ceiling_a_rate_of_transfer_beside_the_published_one() -> None:
    found = of(grid(bytes_per_frame=256 * 2.0**20, wide=100.0, narrow=50.0))
    free, wide, narrow = found.levels

    assert (found.free, free.ceiling) == ("free", None)
    assert wide.bytes_per_s == pytest.approx(100.05 * 256 * 2**20, rel=1e-4)
    assert wide.link is not None
    assert wide.link.bytes_per_s == pytest.approx(31.507692e9, abs=1e3)
    assert narrow.link is not None
    assert (narrow.link.width, narrow.link.known) == (8, "as the level expects it")
    assert found.bytes_from == "declared"


def test_levels_may_have_other_bytes_in_a_frame() -> None:
    sizes = (("wide", 300e6), ("narrow", 150e6))
    found = of(grid(bytes_per_frame=sizes, wide=100.0, narrow=50.0))
    free, wide, narrow = found.levels

    assert (free.bytes_per_s, found.bytes_per_frame, found.bytes_from) == (None, None, "declared")
    assert (wide.bytes_per_frame, narrow.bytes_per_frame) == (300e6, 150e6)
    assert wide.bytes_per_s == pytest.approx(100.05 * 300e6, rel=1e-4)
    assert narrow.bytes_per_s == pytest.approx(50.025 * 150e6, rel=1e-4)
    text = "\n".join(as_text([found], figure="average_fps", band=0.03))
    assert "bytes per frame: wide 286.1 MiB, narrow 143.1 MiB, declared" in text


def test_settings_with_other_bytes_in_a_frame_imply_no_one_transfer_rate() -> None:
    sizes = (("s0", 1e6), ("s1", 2e6), ("s2", 4e6), ("s3", 8e6))
    wide = of(grid(bytes_per_frame=sizes, wide=100.0, narrow=50.0)).levels[1]

    assert wide.ceiling is not None
    assert (wide.bytes_per_frame, wide.bytes_per_s) == (None, None)


def test_bytes_are_fitted_over_levels_whose_links_differ() -> None:
    # 300 MB a frame at the published rates, and nothing besides.
    size = 300e6
    found = of(grid(bytes_per_frame=None, wide=31.507692e9 / size, narrow=15.753846e9 / size))

    assert found.bytes_from == "fitted"
    assert found.bytes_per_frame == pytest.approx(size, rel=1e-3)


def test_the_link_that_was_read_under_load_counts_before_what_is_expected() -> None:
    cells = grid(bytes_per_frame=1e6, wide=100.0, narrow=50.0)
    read = {"gpu.link.generation": 3.0, "gpu.link.width": 8.0}
    cells[4:8] = [
        side("wide", [a_pass(100.0, 1, readings=read)], of=cell.plan, setting=cell.cell.setting)
        for cell in cells[4:8]
    ]
    link = of(cells).levels[1].link

    assert link is not None
    assert (link.generation, link.width, link.known) == (3, 8, "read under load")


def test_a_setting_that_a_level_lacks_is_not_compared_over() -> None:
    cells = grid(bytes_per_frame=None, wide=100.0, narrow=50.0)
    wide = of([*cells[:7], *cells[8:]]).levels[1]

    assert wide.ceiling is not None
    assert wide.ceiling.settings == ("s1", "s2")


def test_fitted_bytes_are_the_slope_of_the_line() -> None:
    # By hand: 1/ceiling = 0.002 s + 3e8 / rate.
    pairs = [(1.0 / (0.002 + 3e8 / rate), rate) for rate in (8e9, 16e9, 32e9)]

    assert fit_bytes(pairs) == pytest.approx((3e8, 0.002))


def test_one_link_or_a_slope_that_falls_fits_nothing() -> None:
    assert fit_bytes([(100.0, 8e9), (101.0, 8e9)]) is None
    assert fit_bytes([(100.0, 8e9), (50.0, 16e9)]) is None


def test_a_rate_of_zero_is_left_out_by_name_and_never_passed_over() -> None:
    cells = grid(bytes_per_frame=None, wide=100.0, narrow=50.0)
    odd = side("wide", [100.0, 0.0], of=cells[0].plan, setting="s3")
    found = of([*cells[:7], odd, *cells[8:]])

    [(label, why)] = found.left_out
    assert label.startswith("Lantern Quay, harbour loop, s3, way wide")
    assert why == "average_fps is 0 fps in attempt 2: no rate"


def test_bytes_a_frame_make_no_transfer_rate_of_anything_but_frames_a_second() -> None:
    cells = [
        replace(
            cell,
            kept=tuple(
                replace(one, figures={k: replace(f, unit="1/s") for k, f in one.figures.items()})
                for one in cell.kept
            ),
        )
        for cell in grid(bytes_per_frame=256 * 2.0**20, wide=100.0, narrow=50.0)
    ]
    found = of(cells)

    assert found.unit == "1/s"
    assert {each.bytes_per_s for each in found.levels} == {None}
    assert found.bytes_per_frame is None

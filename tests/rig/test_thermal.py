"""A part of two stages against a numerical solution of its two equations, and in its states."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rig.model import Model
from harness.rig.rehearsed import RehearsedBench, RehearsedClock
from harness.rig.sensors.fake_work import CHIP
from harness.rig.thermal import MOST_STEP_S, NEVER, Thermal

GPU = "gpu.temperature"


@st.composite
def chips(draw: st.DrawFn) -> Thermal:
    room_c, way_c = draw(st.floats(15.0, 45.0)), draw(st.floats(5.0, 60.0))
    hot_c = room_c + way_c
    return Thermal(
        room_c=room_c,
        hot_c=hot_c,
        tau_s=draw(st.floats(5.0, 200.0)),
        step_c=draw(st.floats(0.0, 1.0)) * (hot_c - room_c),
        step_s=draw(st.floats(0.2, MOST_STEP_S)),
    )


def test_the_closed_form_is_the_solution_of_the_two_equations() -> None:
    """scipy solves dS/dt = -(S - S_rest) / tau and dC/dt = -(C - C_rest) / step for T = S + C."""
    integrate = pytest.importorskip("scipy.integrate")
    part = Thermal(room_c=33.0, hot_c=63.0, tau_s=18.0, step_c=15.0, step_s=0.5)
    times = [0.1, 0.5, 1.0, 2.0, 10.0, 45.0, 120.0]
    for loaded, heatsink_c, chip_c in ((False, 48.0, 15.0), (True, 33.0, 0.0), (True, 40.0, 3.0)):
        rest, own = (48.0, 15.0) if loaded else (33.0, 0.0)
        solved = integrate.solve_ivp(
            lambda t, y, rest=rest, own=own: [-(y[0] - rest) / 18.0, -(y[1] - own) / 0.5],
            (0.0, 120.0), [heatsink_c, chip_c], t_eval=times, rtol=1e-10, atol=1e-10,
        )  # fmt: skip
        for at_s, heatsink, chip in zip(times, *solved.y, strict=True):
            start_c = heatsink_c + chip_c
            found = part.after(start_c, at_s, loaded=loaded, chip_c=chip_c)
            assert found == pytest.approx(heatsink + chip, abs=1e-6)
            own_c = part.chip_after(start_c, at_s, loaded=loaded, chip_c=chip_c)
            assert own_c == pytest.approx(chip, abs=1e-6)


@given(chips(), st.floats(10.0, 110.0), st.booleans(), st.floats(0.01, 0.99), st.floats(0.0, 1.0))
def test_it_is_at_its_target_when_it_says_so_and_goes_one_way_only(
    part: Thermal, start_c: float, loaded: bool, share: float, own: float
) -> None:
    chip_c = own * part.step_c
    rest = part.hot_c if loaded else part.room_c
    target_c = start_c + share * (rest - start_c)
    at_s = part.reaches(start_c, target_c, loaded=loaded, chip_c=chip_c)
    if abs(rest - start_c) > 1e-3:
        assert part.after(start_c, at_s, loaded=loaded, chip_c=chip_c) == pytest.approx(target_c)
    values = [part.after(start_c, 0.7**n * 300.0, loaded=loaded, chip_c=chip_c) for n in range(40)]
    steps = [later - sooner for later, sooner in itertools.pairwise(values)]
    assert all(each >= -1e-9 for each in steps) or all(each <= 1e-9 for each in steps)
    beyond = rest + (1.0 if start_c < rest else -1.0)
    assert part.reaches(start_c, beyond, loaded=loaded, chip_c=chip_c) == NEVER


def test_a_part_without_a_step_follows_newtons_law_to_the_last_digit() -> None:
    part = Thermal(room_c=24.0, hot_c=75.0, tau_s=90.0)
    for at_s in (0.0, 0.3, 17.0, 400.0):
        assert part.after(70.0, at_s, loaded=False) == 24.0 + (70.0 - 24.0) * math.exp(-at_s / 90.0)
    assert part.reaches(70.0, 30.0, loaded=False) == 90.0 * math.log(46.0 / 6.0)


@pytest.mark.parametrize(
    "step", [{"step_c": 31.0}, {"step_c": -1.0}, {"step_s": 0.0}, {"step_s": 9.0}]
)
def test_a_step_that_no_chip_has_is_refused(step: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="step"):
        Thermal(**{"room_c": 33.0, "hot_c": 63.0, "tau_s": 18.0} | step)


def test_a_bench_remembers_how_much_is_the_chips_own_from_load_to_rest() -> None:
    """In pieces or in one, the way is the same: a pass, then a wait looked at second by second."""
    bench = RehearsedBench(RehearsedClock(), Model(chance=NoChance(), parts={GPU: CHIP}))
    bench.relax(45.0, loaded=True)
    hot_c = bench.temperatures[GPU]
    whole = CHIP.after(hot_c, 30.0, loaded=False, chip_c=bench.chips[GPU])
    seen = [hot_c]
    for _ in range(30):
        bench.relax(1.0, loaded=False)
        seen.append(bench.temperatures[GPU])
    assert seen[-1] == pytest.approx(whole)
    assert seen[0] - seen[1] > 12.0  # the chip's own: 15 °C, nine tenths of it in a second
    assert seen[2] - seen[3] < 2.0  # then only its heatsink's


def test_a_part_that_is_set_hot_has_its_chips_own_heat() -> None:
    bench = RehearsedBench(
        RehearsedClock(), Model(chance=NoChance(), parts={GPU: CHIP}), temperatures={GPU: 62.0}
    )
    bench.relax(1.0, loaded=False)
    assert bench.temperatures[GPU] == pytest.approx(48.0, abs=2.0)


class NoChance:
    """Chance that nothing happens."""

    def random(self) -> float:
        return 1.0

    def gauss(self, mu: float, sigma: float) -> float:
        return mu

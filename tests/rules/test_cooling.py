"""Newton's law of cooling against textbook examples, and against falls made to mislead it."""

from __future__ import annotations

import csv
import itertools
import math
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from harness.plan.document import Gate, Then
from harness.rig.crossings import Floor
from harness.rig.thermal import NEVER, Thermal
from harness.rules.cooling import Cooling, checks, foreseen, out_of_reach
from harness.rules.newton import fit, gathered
from tests.rules.strategies import bound, gate

CASES = Path(__file__).parents[1] / "golden" / "sensors"
Course = Callable[[float], float]


def newton(end_c: float, start_c: float, k: float) -> Course:
    return lambda t: end_c + (start_c - end_c) * math.exp(-k * t)


def seen(course: Course, first: float, last: float, step: float = 1.0) -> list[tuple[float, float]]:
    count = int((last - first) / step) + 1
    return [(first + n * step, course(first + n * step)) for n in range(count)]


# OpenStax, Calculus Volume 1, section 6.8, and Volume 2, sections 2.8 and 4.3: the coffee, the
# pizza and the cake. Temperatures are in °F and times in minutes there; the law has no units.
COFFEE = (70.0, 200.0, math.log(130.0 / 110.0) / 2.0)
PIZZA = (75.0, 200.0, math.log(125.0 / 115.0))
CAKE = (70.0, 450.0, math.log(380.0 / 260.0) / 10.0)


@pytest.mark.parametrize(
    ("example", "target", "printed", "digits"),
    [
        (COFFEE, 175.0, 2.556945563, 1e-8),
        (COFFEE, 155.0, 5.086774081, 1e-8),
        (PIZZA, 150.0, 6.126358442, 1e-8),
        (CAKE, 75.0, 114.1, 0.05),
    ],
)
def test_the_law_in_closed_form_gives_the_printed_times(
    example: tuple[float, float, float], target: float, printed: float, digits: float
) -> None:
    end, start, k = example
    part = Thermal(room_c=end, hot_c=999.0, tau_s=1 / k)
    assert part.reaches(start, target, loaded=False) == pytest.approx(printed, abs=digits)


def test_a_target_at_or_below_the_room_is_never_reached() -> None:
    part = Thermal(room_c=70.0, hot_c=999.0, tau_s=12.0)
    assert part.reaches(200.0, 70.0, loaded=False) == NEVER
    assert part.reaches(200.0, 65.0, loaded=False) == NEVER


@pytest.mark.parametrize(
    ("example", "target", "printed"),
    [(COFFEE, 155.0, 5.086774081), (PIZZA, 150.0, 6.126358442), (CAKE, 75.0, 114.1)],
)
def test_the_fit_finds_the_textbook_curve_from_its_first_part(
    example: tuple[float, float, float], target: float, printed: float
) -> None:
    end, start, k = example
    course = newton(end, start, k)
    found = fit(seen(course, 0.0, 0.8 * printed, printed / 60))
    assert found is not None
    assert found.end_c == pytest.approx(end, abs=0.1)
    assert found.tau_s == pytest.approx(1 / k, rel=1e-3)
    assert found.reaches(target) == pytest.approx(printed, rel=2e-3)
    assert found.reaches(end - 1.0) is None


def test_the_interval_of_a_noisy_fall_holds_the_truth() -> None:
    rng, held = random.Random(4), 0
    for _ in range(60):
        course = newton(rng.uniform(35, 55), rng.uniform(70, 90), 1 / rng.uniform(40, 200))
        points = [(t, c + rng.gauss(0.0, 0.3)) for t, c in seen(course, 60.0, 240.0)]
        found = fit(points)
        assert found is not None
        low, high = found.interval(600.0)
        held += low <= course(600.0) <= high
    assert held == 60  # of 60, at 99 % and with half a degree where the noise is less


def test_a_straight_piece_of_a_curve_promises_nothing_about_its_end() -> None:
    found = fit(seen(newton(30.0, 80.0, 1 / 600.0), 0.0, 40.0))
    assert found is not None
    low, high = found.interval(900.0)
    assert low < 30.0 < high
    assert high - low > 30.0


def test_wild_readings_do_not_count() -> None:
    course = newton(45.0, 80.0, 1 / 60.0)
    points = [(t, 127.5 if t % 29 == 0 else c) for t, c in seen(course, 60.0, 300.0)]
    found = fit(points)
    assert found is not None
    assert found.end_c == pytest.approx(45.0, abs=0.3)


def test_a_fall_in_steps_of_four_degrees_fits_poorly_and_says_nothing() -> None:
    course = newton(45.0, 80.0, 1 / 60.0)
    steps = [(t, 4.0 * round(c / 4.0)) for t, c in seen(course, 0.0, 120.0)]
    assert fit(steps) is None


def test_few_samples_say_nothing() -> None:
    assert fit(seen(newton(40.0, 80.0, 0.02), 0.0, 6.0)) is None
    assert fit([]) is None
    assert fit([(1.0, 50.0)] * 30) is None


def test_points_are_medians_of_equally_many_samples() -> None:
    points = gathered([(float(n), float(n)) for n in range(50)])
    assert len(points) <= 24
    assert points[0] == (3.0, 3.0)
    assert points[-1] == (48.0, 48.0)


def ended_early(course: Course, asked: Gate) -> float | None:
    """Return when the course is found to miss the gate's bound; None: never before it is met."""
    bound_c = asked.bound.at_most
    assert bound_c is not None
    for at_s in itertools.takewhile(lambda at: at < asked.give_up_s, checks()):
        if course(at_s) <= bound_c:
            return None
        if foreseen(asked, course, at_s=at_s, by_s=asked.give_up_s) is not None:
            return at_s
    return None


def test_no_fall_with_two_time_constants_that_comes_down_in_time_is_given_up() -> None:
    # The heat of a chip leaves through its cooler and through the case: two time constants.
    rng = random.Random(5)
    for _ in range(60):
        fast_s = rng.uniform(8, 60)
        slow_s, whole = fast_s * rng.uniform(3, 20), rng.random() < 0.5
        fast_c, slow_c = rng.uniform(5, 35), rng.uniform(2, 25)

        def course(
            t: float,
            fast: tuple[float, float] = (fast_c, fast_s),
            slow: tuple[float, float] = (slow_c, slow_s),
            whole: bool = whole,
        ) -> float:
            value = 40 + fast[0] * math.exp(-t / fast[1]) + slow[0] * math.exp(-t / slow[1])
            return float(round(value)) if whole else value

        target = rng.uniform(course(899.0), min(course(899.0) + 6, course(0.0)))
        assert ended_early(course, gate(target)) is None


@pytest.mark.parametrize("quantised", [False, True])
@pytest.mark.parametrize(("short_c", "at_most_s"), [(8.0, 560.0), (4.0, 670.0)])
def test_a_bound_out_of_reach_ends_the_wait_early(
    short_c: float, at_most_s: float, quantised: bool
) -> None:
    fall = newton(52.0, 82.0, 1 / 120.0)
    course: Course = (lambda t: float(math.floor(fall(t)))) if quantised else fall
    found = ended_early(course, gate(52.0 - short_c))
    assert found is not None
    assert found <= at_most_s


def test_the_made_trace_that_never_cools_ends_early_at_its_floor() -> None:
    # s08: "stall at 52.0": falls 2 °C in 10 s, then stands at 52 °C; one reading in 10 s.
    cooling, floor = Cooling(gate(45.0)), None
    with (CASES / "s08_never_cools.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            at_s = float(row["t_s"])
            floor = cooling.feed(float(row["gpu_c"]), waited_s=at_s, deadline_s=900.0)
            if floor is not None:
                break
    assert isinstance(floor, Floor)
    assert floor.made_at_s < 300.0
    assert floor.low_c > 45.0
    assert floor.value_c == pytest.approx(52.0, abs=0.5)


def test_a_bound_that_must_hold_for_long_is_out_of_reach_sooner() -> None:
    fall = fit(seen(newton(40.0, 80.0, 1 / 120.0), 100.0, 200.0))
    assert fall is not None
    assert out_of_reach(fall, edge_c=43.0, by_s=900.0) is None
    assert out_of_reach(fall, edge_c=43.0, by_s=215.0) is not None


def test_a_rise_to_a_lower_edge_is_judged_the_same_way() -> None:
    rise = newton(50.0, 20.0, 1 / 60.0)
    band = Gate(bound=bound(at_least=58.0), for_s=0.0, give_up_s=900.0, then=Then.MARK)
    found = [
        floor
        for at_s in itertools.takewhile(lambda at: at < 900.0, checks())
        if (floor := foreseen(band, rise, at_s=at_s, by_s=900.0)) is not None
    ]
    assert found
    assert found[0].high_c < 58.0


def test_the_fit_is_that_of_an_independent_least_squares() -> None:
    optimize = pytest.importorskip("scipy.optimize")
    rng = random.Random(9)
    course = newton(47.0, 81.0, 1 / 75.0)
    samples = [(t, c + rng.gauss(0.0, 0.4)) for t, c in seen(course, 40.0, 220.0)]
    points = gathered(samples)
    numpy = pytest.importorskip("numpy")
    wanted, _ = optimize.curve_fit(
        lambda t, end, by, tau: end + by * numpy.exp(-t / tau),
        *numpy.array(points).T,
        p0=(40.0, 40.0, 60.0),
    )
    found = fit(samples)
    assert found is not None
    assert found.end_c == pytest.approx(wanted[0], abs=1e-2)
    assert found.tau_s == pytest.approx(wanted[2], rel=1e-3)

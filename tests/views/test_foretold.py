"""What was foretold of a gate, in words, and how well it came true over a run."""

from __future__ import annotations

import statistics

from harness.rig.crossings import Forecast, Foretold
from harness.run import records as r
from harness.run.state import Grid
from harness.summary.forecasts import Borne, borne_out
from harness.views.foretold import borne_words, foretold_lines, foretold_words
from harness.views.story import sentence
from tests.run.rehearsal import plan

GRID = Grid.of(plan())
(CELL,) = GRID.cells


def forecast(
    at_s: float = 60.0,
    reaches_s: float | None = 97.0,
    *,
    within: tuple[float | None, float | None] = (72.0, 140.0),
    end_c: float = 30.4,
) -> Forecast:
    return Forecast(
        made_at_s=at_s,
        reaches_s=reaches_s,
        earliest_s=within[0],
        latest_s=within[1],
        end_c=end_c,
        low_c=end_c - 1.0,
        high_c=end_c + 1.0,
    )


def foretold(*forecasts: Forecast, reached_s: float | None = 93.0, value: float = 29.8) -> Foretold:
    return Foretold(
        gate=0,
        reading="gpu.temperature",
        bound="at most 30 °C",
        unit="°C",
        forecasts=forecasts,
        reached_s=reached_s,
        ended_s=97.0,
        value=value,
    )


def started(*told: Foretold) -> r.PassStarted:
    return r.PassStarted(
        cell=CELL, attempt=1, warm_up=False, group=1, block=0, round=1, waited_s=97.0,
        readings=(), foretold=told,
    )  # fmt: skip


def test_the_story_of_a_pass_says_what_was_foretold_and_what_came_true() -> None:
    told = foretold(forecast(40.0, None), forecast())
    assert sentence(started(told), GRID).endswith(
        "waited 97.0 s; gpu.temperature at most 30 °C: after 60 s foretold to be reached after "
        "97 s (72 to 140 s), reached after 93 s"
    )


def test_an_interval_without_an_end_says_so() -> None:
    told = foretold(forecast(within=(72.0, None)), reached_s=None)
    assert foretold_words([told]).endswith("after 97 s (72 s or later), not reached in 97 s")


def test_without_an_instant_the_temperature_at_the_end_is_told() -> None:
    assert foretold_words([foretold(forecast(40.0, None), reached_s=None)]) == (
        "; gpu.temperature at most 30 °C: after 40 s foretold 30.4 °C (29.4 to 31.4 °C) at 97 s, "
        "it was 29.8 °C"
    )


def test_where_nothing_was_foretold_nothing_is_said() -> None:
    assert foretold_words([]) == ""
    assert sentence(started(), GRID).endswith("waited 97.0 s")


def test_a_skipped_pass_and_a_hold_say_it_too() -> None:
    told = (foretold(forecast(), reached_s=None),)
    skipped = r.PassSkipped(
        cell=CELL, attempt=1, warm_up=False, group=1, fault="gate-gave-up", reason="why",
        foretold=told,
    )  # fmt: skip
    hold = r.RigHeld(hold="h", fault="gate-gave-up", reason="why", do="do", foretold=told)
    assert sentence(skipped, GRID).endswith("not reached in 97 s")
    assert sentence(hold, GRID).endswith("not reached in 97 s")


def test_the_details_have_every_forecast() -> None:
    asked = "gpu.temperature at most 30 °C"
    end = "  and for the end of the wait at 97 s 30.4 °C (29.4 to 31.4 °C); it was 29.8 °C"
    assert list(foretold_lines([foretold(forecast(40.0, None), forecast())])) == [
        f"{asked}: after 40 s foretold for no instant yet; reached after 93 s",
        end,
        f"{asked}: after 60 s foretold to be reached after 97 s (72 to 140 s); reached after 93 s",
        end,
    ]


def test_forecasts_are_counted_against_what_came_true() -> None:
    records: list[r.Record] = [
        started(foretold(forecast(), forecast(80.0, 94.0))),  # 4 s and 1 s off, within
        started(foretold(forecast(60.0, 80.0, within=(75.0, 90.0)))),  # 13 s off, outside
        started(foretold(forecast(60.0, 80.0), reached_s=None, value=33.0)),  # never reached
        started(foretold(forecast(60.0, None))),
        started(),
        r.RunPaused(reason="asked"),
    ]
    borne = borne_out(records)
    assert borne == Borne(
        waits=4,
        forecasts=5,
        instants=4,
        reached=3,
        within=2,
        off_s=statistics.median([4.0, 1.0, 13.0]),
        values_within=4,
        off_c=borne.off_c,
    )
    assert borne.off_c is not None
    assert round(borne.off_c, 6) == 0.6
    assert borne_words(borne) == (
        "gates foretold: 5 forecasts in 4 waits; 4 named an instant, 3 of them reached, 2 within "
        "the interval, median 4 s off; the temperature at the end within its interval in 4, "
        "median 0.6 °C off"
    )


def test_an_interval_without_an_end_holds_whatever_is_later() -> None:
    open_end = foretold(forecast(within=(72.0, None)), reached_s=500.0)
    early = foretold(forecast(within=(72.0, None)), reached_s=70.0)
    assert borne_out([started(open_end)]).within == 1
    assert borne_out([started(early)]).within == 0


def test_a_run_without_forecasts_counts_none() -> None:
    assert borne_words(borne_out([])) == "no gate of this run was foretold"


def test_jumps_and_sleeps_are_told_with_what_is_known_of_them() -> None:
    def said(**what: object) -> str:
        return sentence(r.ClockJumped(**what), GRID)  # type: ignore[arg-type]

    assert said(by_s=0.0, slept_s=3600.0).startswith(
        "the machine was suspended for 1 h 0 min 0.0 s; durations"
    )
    assert said(by_s=-61.0, slept_s=5.0).startswith(
        "the clock of the day was set back by 1 min 1.0 s and the machine was suspended for 5.0 s;"
    )
    assert said(by_s=-7200.0, unwatched=True, at_least=True).startswith(
        "the clock of the day was set back by at least 2 h 0 min 0.0 s while no runner was there;"
    )

"""What was foretold of a gate, beside what came true, in words.

Pure. Instants are seconds since the wait began; intervals are of 99 %.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from harness.rig.crossings import Forecast, Foretold
from harness.summary.forecasts import Borne


def foretold_words(found: Sequence[Foretold]) -> str:
    """Return what was foretold in a wait as the end of a sentence; nothing where nothing was.

    Of each gate the last forecast that named an instant is told, else the last.
    """
    return "".join(f"; {_one(each)}" for each in found if each.forecasts)


def foretold_lines(found: Sequence[Foretold]) -> Iterator[str]:
    """Yield a line for each forecast, with what came true."""
    for each in found:
        for forecast in each.forecasts:
            yield f"{each.reading} {each.bound}: {_when(forecast)}; {_true(each)}"
            yield (
                f"  and for the end of the wait at {each.ended_s:.0f} s "
                f"{_temperature(forecast, each)}; it was {each.value:.1f} {each.unit}"
            )


def borne_words(borne: Borne) -> str:
    """Return how well the forecasts of a run came true, in one line."""
    if not borne.forecasts:
        return "no gate of this run was foretold"
    waits = "1 wait" if borne.waits == 1 else f"{borne.waits} waits"
    parts = [f"gates foretold: {borne.forecasts} forecasts in {waits}"]
    if borne.off_s is not None:
        parts.append(
            f"{borne.instants} named an instant, {borne.reached} of them reached, {borne.within} "
            f"within the interval, median {borne.off_s:.0f} s off"
        )
    elif borne.instants:
        parts.append(f"{borne.instants} named an instant, none reached")
    if borne.off_c is not None:
        parts.append(
            f"the temperature at the end within its interval in {borne.values_within}, "
            f"median {borne.off_c:.1f} °C off"
        )
    return "; ".join(parts)


def _one(found: Foretold) -> str:
    named = [each for each in found.forecasts if each.reaches_s is not None]
    forecast = (named or list(found.forecasts))[-1]
    asked = f"{found.reading} {found.bound}"
    if forecast.reaches_s is not None:
        return f"{asked}: {_when(forecast)}, {_true(found)}"
    return (
        f"{asked}: after {forecast.made_at_s:.0f} s foretold "
        f"{_temperature(forecast, found)} at {found.ended_s:.0f} s, it was "
        f"{found.value:.1f} {found.unit}"
    )


def _when(forecast: Forecast) -> str:
    made = f"after {forecast.made_at_s:.0f} s"
    if forecast.reaches_s is None:
        return f"{made} foretold for no instant yet"
    low = forecast.made_at_s if forecast.earliest_s is None else forecast.earliest_s
    high = forecast.latest_s
    within = f"{low:.0f} s or later" if high is None else f"{low:.0f} to {high:.0f} s"
    return f"{made} foretold to be reached after {forecast.reaches_s:.0f} s ({within})"


def _temperature(forecast: Forecast, found: Foretold) -> str:
    return (
        f"{forecast.end_c:.1f} {found.unit} ({forecast.low_c:.1f} to {forecast.high_c:.1f} "
        f"{found.unit})"
    )


def _true(found: Foretold) -> str:
    if found.reached_s is None:
        return f"not reached in {found.ended_s:.0f} s"
    return f"reached after {found.reached_s:.0f} s"

"""Numbers with their units, as every view writes them: so many digits, and no exponent.

Pure. Light: the page and quick commands show numbers, too.
"""

from __future__ import annotations

import math

NOT_MEASURED = "not measured"
_MOST_PLACES = 6  #: after the point
_LEAST_PLAIN = 1e-3  #: from here on a number can be read with so many places


def number(value: float | None, unit: str = "", *, digits: int = 4) -> str:
    """Return a number to so many digits, with its unit; never 0 for what is missing.

    >>> number(58.91234, "fps"), number(None, "fps"), number(123456.0)
    ('58.91 fps', 'not measured', '123456')
    """
    if value is None:
        return NOT_MEASURED
    # What rounds to 10^digits is written out too: 9999.7 is 10000, and not 1e+04.
    plain = abs(value) >= 10**digits - 0.5
    text = f"{value:.0f}" if plain else f"{value:.{digits}g}"
    return f"{text} {unit}".rstrip()


def with_interval(mean: float | None, half_width: float | None, unit: str) -> str:
    """Return a mean with half its interval, to the digits that the interval allows.

    >>> with_interval(58.912, 0.34, "fps"), with_interval(3.214e-7, 5.4e-9, "s")
    ('58.91 ± 0.34 fps', '(3.214 ± 0.054)e-07 s')
    """
    if mean is None:
        return NOT_MEASURED
    if half_width is None or half_width <= 0 or not math.isfinite(half_width):
        return number(mean, unit)
    places = max(0, 1 - math.floor(math.log10(half_width)))
    if places <= _MOST_PLACES:
        return f"{mean:.{places}f} ± {half_width:.{places}f} {unit}".rstrip()
    if abs(mean) >= _LEAST_PLAIN:
        return f"{mean:.{_MOST_PLACES}f} ± {half_width:.1e} {unit}".rstrip()
    # Both numbers to one power of ten: neither is written as 0.
    power = math.floor(math.log10(max(abs(mean), half_width)))
    places = min(15, max(0, places + power))
    scaled, half = mean / 10.0**power, half_width / 10.0**power
    shown = f"{half:.{places}f}" if half >= 10.0**-places else f"{half:.1e}"
    return f"({scaled:.{places}f} ± {shown})e{power:+03d} {unit}".rstrip()

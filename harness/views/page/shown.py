"""Values as the page writes them: numbers with their units, instants, lengths of time.

Pure.
"""

from __future__ import annotations

import math
from datetime import datetime

NOT_MEASURED = "not measured"


def instant(text: str | datetime | None) -> str:
    """Return an instant to the second, UTC; a dash where there is none."""
    if not text:
        return "–"
    plain = text.isoformat() if isinstance(text, datetime) else text
    return f"{plain[:10]} {plain[11:19]} UTC"


def number(value: float | None, unit: str = "", *, digits: int = 4) -> str:
    """Return a number to so many digits, with its unit; never 0 for what is missing.

    >>> number(58.91234, "fps"), number(None, "fps"), number(123456.0)
    ('58.91 fps', 'not measured', '123456')
    """
    if value is None:
        return NOT_MEASURED
    text = f"{value:.0f}" if abs(value) >= 10**digits else f"{value:.{digits}g}"
    return f"{text} {unit}".rstrip()


def with_interval(mean: float | None, half_width: float | None, unit: str) -> str:
    """Return a mean with half its interval, to the digits that the interval allows.

    >>> with_interval(58.912, 0.34, "fps")
    '58.91 ± 0.34 fps'
    """
    if mean is None:
        return NOT_MEASURED
    if half_width is None or half_width <= 0 or not math.isfinite(half_width):
        return number(mean, unit)
    places = min(6, max(0, 1 - math.floor(math.log10(half_width))))
    return f"{mean:.{places}f} ± {half_width:.{places}f} {unit}".rstrip()


def per_cent(share: float | None, *, sign: bool = True) -> str:
    """Return a fraction in per cent.

    >>> per_cent(0.1124), per_cent(-0.003), per_cent(None)
    ('+11.24 %', '−0.30 %', 'not measured')
    """
    if share is None:
        return NOT_MEASURED
    text = f"{100 * share:+.2f} %" if sign else f"{100 * share:.2f} %"
    return text.replace("-", "−")


def size(count: int) -> str:
    """Return a number of bytes.

    >>> size(310), size(48_210), size(7_340_032)
    ('310 bytes', '47.1 KiB', '7.0 MiB')
    """
    if count < 1024:
        return f"{count} bytes"
    for unit, large in (("KiB", 1 << 10), ("MiB", 1 << 20)):
        if count < large << 10:
            return f"{count / large:.1f} {unit}"
    return f"{count / (1 << 30):.1f} GiB"

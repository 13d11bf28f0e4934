"""Values as the page writes them: instants, shares, sizes; numbers are those of every view.

Pure.
"""

from __future__ import annotations

from datetime import datetime

from harness.views.numbers import NOT_MEASURED


def instant(text: str | datetime | None) -> str:
    """Return an instant to the second, UTC; a dash where there is none."""
    if not text:
        return "–"
    plain = text.isoformat() if isinstance(text, datetime) else text
    return f"{plain[:10]} {plain[11:19]} UTC"


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

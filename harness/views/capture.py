"""One capture by itself, as ``harness figures`` shows it: a table, or JSON.

Pure.
"""

from __future__ import annotations

from harness.rules.figures import LOW_DEFINITIONS, TAILS, Computed, figures, low_name
from harness.rules.flags import flags

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Mapping

    from harness.rig.captures.gather import Capture

SCHEMA = "harness.figures/1"

#: Figure -> what the table calls it.
LABELS: dict[str, str] = {
    "average_fps": "average frame rate",
    **{
        low_name(name, definition): f"{words} low"
        for name, _, words in TAILS
        for definition in LOW_DEFINITIONS
    },
    "frame_time_p50_ms": "frame time, 50 % of frames up to",
    "frame_time_p95_ms": "frame time, 95 % of frames up to",
    "frame_time_p99_ms": "frame time, 99 % of frames up to",
    "frame_time_p99_9_ms": "frame time, 99.9 % of frames up to",
    "longest_frame_ms": "longest frame",
    "frames_over_100_ms": "frames over 100 ms",
}


def as_table(file: str, capture: Capture) -> str:
    """Return the figures of a sound capture as a person reads them."""
    times = capture.times
    assert times is not None, "only a sound capture has figures"
    rows = [("figure", "value", "unit", "definition", "")]
    rows += [
        (LABELS[each.name], _value(each), each.unit, each.definition, _remark(each))
        for each in figures(times)
    ]
    widths = [max(len(row[column]) for row in rows) for column in range(4)]
    lines = [
        f"{file}: {_grouped(times.count)} frames, {times.total_ms / 1000.0:.6g} s",
        "",
        *(
            f"  {label:<{widths[0]}}  {value:>{widths[1]}}  {unit:<{widths[2]}}  "
            f"{definition:<{widths[3]}}  {remark}".rstrip()
            for label, value, unit, definition, remark in rows
        ),
    ]
    raised = flags(times)
    if raised:
        lines += ["", "look at twice"]
        for flag in raised:
            where = f" ({flag.where})" if flag.where else ""
            lines.append(f"  {flag.name}{where}: {flag.what}")
    if capture.notes:
        lines += ["", "notes", *(f"  {note}" for note in capture.notes)]
    return "\n".join(lines)


def _value(figure: Computed) -> str:
    if figure.value is None:
        return "not measured"
    if figure.unit == "frames":
        return f"{figure.value:.0f}"
    return f"{figure.value:.3f}" if figure.unit == "ms" else f"{figure.value:.2f}"


def _remark(figure: Computed) -> str:
    if figure.why is not None:
        return figure.why
    if figure.thin:
        frames = "1 frame" if figure.tail == 1 else f"{figure.tail} frames"
        return f"thin: {frames} in its tail"
    return ""


def _grouped(number: int) -> str:
    return f"{number:,}".replace(",", " ")


def as_json(
    file: str, capture: Capture, *, sha256: str, more: Mapping[str, object] | None = None
) -> str:
    """Return ``harness.figures/1``, or the error of a capture that is refused or void.

    ``sha256`` is of the file as it lies on disk. A figure that is not measured has the value
    null and says why; a thin one says so, with the frames in its tail. *more* is added to what
    a sound capture gives.
    """
    import json

    return json.dumps(
        {**_sound(file, capture, sha256=sha256), **(more or {})}
        if capture.times is not None and not capture.troubles
        else _unsound(file, capture),
        ensure_ascii=False,
    )


def _sound(file: str, capture: Capture, *, sha256: str) -> dict[str, object]:
    times = capture.times
    assert times is not None, "only a sound capture has figures"
    made = {each.name: each for each in figures(times)}
    raised = flags(times)
    return {
        "schema": SCHEMA,
        "file": file,
        "sha256": sha256,
        "frames": times.count,
        "duration_s": times.total_ms / 1000.0,
        "figures": {name: _figure(each) for name, each in made.items()},
        **{
            f"{name}_all": {
                definition: made[low_name(name, definition)].value for definition in LOW_DEFINITIONS
            }
            for name, _, _ in TAILS
        },
        "flags": [flag.name for flag in raised],
        "flag_details": [
            {
                "flag": flag.name,
                "what": flag.what,
                "first_frame": flag.first,
                "last_frame": flag.last,
                "line": flag.line,
            }
            for flag in raised
        ],
        "notes": list(capture.notes),
    }


def _figure(figure: Computed) -> dict[str, object]:
    shown: dict[str, object] = {
        "value": figure.value,
        "definition": figure.definition,
        "unit": figure.unit,
    }
    if figure.why is not None:
        shown["why"] = figure.why
    if figure.tail is not None:
        shown["tail_frames"] = figure.tail
        shown["thin"] = figure.thin
    return shown


def _unsound(file: str, capture: Capture) -> dict[str, object]:
    from harness.errors import as_json as to_json
    from harness.rig.captures.trouble import problem

    errors = [
        {
            **to_json(problem(trouble, file=file, frames=capture.frames)),
            "verdict": trouble.verdict,
            "frames": capture.frames,
        }
        for trouble in capture.troubles
    ]
    return {"error": errors[0], "errors": errors, "notes": list(capture.notes)}

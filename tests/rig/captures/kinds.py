"""Captures of every kind that goes wrong, with the verdict each should get.

The kinds are those seen on real benches; the files are ours. A number is how many frames
are read; a text is the code of the first trouble.
"""

from __future__ import annotations

from typing import Any

FRAMES = [16.418, 16.141, 16.941, 16.016, 16.757, 16.485, 15.993, 16.712, 15.96, 16.594] * 4
FRAMES = [value + place * 0.001 for place, value in enumerate(FRAMES)]


def table(
    values: list[Any] | None = None,
    *,
    delimiter: str = ",",
    header: str = "frame_no{}frame_ms",
    end: str = "\n",
    first: int = 1,
) -> str:
    """Return a frame log of *values*, numbered."""
    rows = [header.format(delimiter)] if header else []
    shown = [f"{each:.3f}" if isinstance(each, float) else str(each) for each in values or FRAMES]
    rows += [f"{number}{delimiter}{value}" for number, value in enumerate(shown, start=first)]
    return end.join(rows) + end


def with_row(row: str, at: int = 20, **options: Any) -> str:
    """Return a frame log with *row* in the place of one of its rows."""
    lines = table(**options).split("\n")
    lines[at] = row
    return "\n".join(lines)


def numbered(numbers: Any) -> str:
    """Return a frame log whose frames have these numbers."""
    rows = zip(numbers, FRAMES, strict=True)
    return "frame_no,frame_ms\n" + "".join(f"{number},{value:.3f}\n" for number, value in rows)


def mixed(name: str, *texts: str) -> str:
    """Return a frame log in which a column has these texts in turn."""
    cells = (texts[place % len(texts)] for place in range(len(FRAMES)))
    rows = zip(cells, FRAMES, strict=True)
    return f"{name},frame_ms\n" + "".join(f"{cell},{value:.3f}\n" for cell, value in rows)


def beside(name: str, numbers: Any) -> str:
    """Return a frame log that counts its frames cleanly, and has another column of numbers."""
    rows = enumerate(zip(numbers, FRAMES, strict=True))
    cells = "".join(f"{place},{number},{value:.3f}\n" for place, (number, value) in rows)
    return f"frame,{name},frame_ms\n" + cells


def comma(values: list[float]) -> list[str]:
    return [f"{value:.3f}".rstrip("0").replace(".", ",") for value in values]


CLOCK = [sum(FRAMES[: place + 1]) / 1000.0 for place in range(len(FRAMES))]
N = len(FRAMES)

#: name -> (content, declarations, frames or code)
KINDS: dict[str, tuple[str | bytes, dict[str, Any], int | str]] = {
    "clean": (table(), {}, N),
    "semicolon, decimal comma": (table(comma(FRAMES), delimiter=";"), {}, N),
    "decimal comma that splits the row": (table(comma(FRAMES)), {}, "row-width"),
    "decimal comma, three digits everywhere": (
        table([f"{value:.3f}".replace(".", ",") for value in FRAMES], delimiter=";"),
        {},
        "decimal-unclear",
    ),
    "thousands of a narrow space": (
        with_row("20;1\N{NARROW NO-BREAK SPACE}016,71", values=comma(FRAMES), delimiter=";"),
        {"thousands": " ", "decimal": ","},
        N,
    ),
    "thousands of a narrow space, undeclared": (
        with_row("20;1\N{NARROW NO-BREAK SPACE}016,71", values=comma(FRAMES), delimiter=";"),
        {"decimal": ","},
        "thousands-unclear",
    ),
    "apostrophe for thousands": (with_row("20,1'016.713"), {"thousands": "'"}, N),
    "typographic minus": (with_row("20,\N{MINUS SIGN}16.418"), {}, "not-a-number"),
    "tab": (table(delimiter="\t"), {}, N),
    "pipe": (table(delimiter="|"), {}, N),
    "several delimiters in the header": (
        table(delimiter=",", header="frame_no;frame_ms,note"),
        {},
        "delimiter-unclear",
    ),
    "unit after every number": (table([f"{v:.3f} ms" for v in FRAMES]), {}, N),
    "another unit after every number": (
        table([f"{v:.3f} us" for v in FRAMES]),
        {},
        "unit-conflict",
    ),
    "unit changes after the number": (with_row("20,16.4 s"), {}, "unit-changes"),
    "micro sign after every number": (
        table([f"{v * 1000:.0f} \N{MICRO SIGN}s" for v in FRAMES], header="n{}frame"),
        {"column": "frame", "unit": None},
        N,
    ),
    "byte-order mark": (b"\xef\xbb\xbf" + table().encode(), {}, N),
    "UTF-16 with mark, big end first": (b"\xfe\xff" + table().encode("utf-16-be"), {}, N),
    "UTF-16 without mark": (table().encode("utf-16-be"), {}, "encoding-unknown"),
    "UTF-16 without mark, declared": (table().encode("utf-16-be"), {"encoding": "utf-16-be"}, N),
    "UTF-16 cut in a character": (
        b"\xff\xfe" + table().encode("utf-16-le")[:-1],
        {},
        "truncated",
    ),
    "an encoding that there is not": (table(), {"encoding": "latin-99"}, "encoding-wrong"),
    "bytes that are not as declared": (
        table(header="titl\N{LATIN SMALL LETTER E WITH ACUTE}{}frame_ms").encode() + b"\x81\n",
        {"encoding": "cp1252"},
        "encoding-wrong",
    ),
    "another mark than declared": (
        b"\xef\xbb\xbf" + table().encode(),
        {"encoding": "cp1252"},
        "encoding-wrong",
    ),
    "legacy text": (
        b"title,frame_ms\n" + b"Caf\xe9 \x96 Nuit,16.4\n" * 9,
        {},
        9,
    ),
    "carriage returns": (table(end="\r"), {}, N),
    "mixed line ends": (table().replace("\n", "\r\n", 9), {}, N),
    "NUL bytes at the end": (table().encode() + bytes(700), {}, "truncated"),
    "NUL bytes inside": (table().encode().replace(b"16.0", b"16\0.", 1), {}, "nul-bytes"),
    "Ctrl-Z at the end": (table().encode() + b"\x1a", {}, N),
    "cut in a number": (table()[:-4], {}, "truncated"),
    "cut before the line end": (table()[:-1], {}, "truncated"),
    "empty": (b"", {}, "empty-capture"),
    "header only": (table([""])[: len("frame_no,frame_ms\n")], {}, "no-frames"),
    "header again": (table() + table(), {}, "header-again"),
    "two runs glued": (table() + table(header=""), {}, "glued-runs"),
    "preamble": ("title: Lantern Quay\n\n" + table(), {}, "header-missing"),
    "preamble, declared": ("title: Lantern Quay\n\n" + table(), {"header": 3}, N),
    "header declared too far down": (table(), {"header": 99}, "header-missing"),
    "summary after an empty line": (table() + "\nmean,16.71\nframes,40\n", {}, N),
    "summary without an empty line": (table() + "mean,16.71\n", {}, "footer-unclear"),
    "summary, declared": (table() + "mean,16.71\nframes,40\n", {"footer": 2}, N),
    "summary of another width": (table() + "40 frames in all\n", {}, "row-width"),
    "empty lines at the end": (table() + "\n\n", {}, N),
    "empty line inside": (table() + "\n" + table(header="", first=N + 1), {}, "blank-line"),
    "trailing delimiter on every row": (table([f"{v:.3f}," for v in FRAMES]), {}, N),
    "trailing delimiter on one row": (with_row("20,16.4,"), {}, "row-width"),
    "one field more in one row": (with_row("20,16,418"), {}, "row-width"),
    "one field less in one row": (with_row("20"), {}, "row-width"),
    "quoted": (table([f'"{v:.3f}"' for v in FRAMES]), {}, N),
    "quoted and padded": (table([f'" {v:.3f} "' for v in FRAMES]), {}, N),
    "a line break inside a quoted number": (with_row('20,"16.4\n4"'), {}, "not-a-number"),
    "a line break after a quoted number": (with_row('20,"16.4\n"'), {}, "not-a-number"),
    "a quote that is not closed": (with_row('20,"16.4'), {}, "quotes"),
    "column twice": (
        table([f"{v:.3f},1" for v in FRAMES], header="n{0}frame_ms{0}frame_ms"),
        {},
        "column-twice",
    ),
    "column missing": (table(header="n{}wait_ms"), {}, "column-missing"),
    "column in another case": (table(header="n{} Frame_MS "), {}, N),
    "no header": (table(header=""), {}, "header-missing"),
    "no header, declared": (table(header=""), {"header": "none", "column": 2}, N),
    "no header, column by number": (table(header=""), {"column": 2}, N),
    "no header, too far right": (
        table(header=""),
        {"header": "none", "column": 3},
        "column-missing",
    ),
    "no header, column by name": (table(header=""), {"header": "none"}, "column-unclear"),
    "column not declared": (table(), {"column": None, "unit": None}, N),
    "column not declared and not clear": (table(header="n{}t"), {"column": None}, "column-unclear"),
    "unit not declared": (
        table(header="n{}frame"),
        {"column": "frame", "unit": None},
        "unit-missing",
    ),
    "unit that is none": (table(), {"unit": "parsec"}, "unit-unknown"),
    "unit against the name": (table(), {"unit": "us"}, "unit-conflict"),
    "rates": (table(header="n{}fps"), {"column": "fps"}, "rate-column"),
    **{
        f"rates under {name}": (table(header="n{}" + name), {"column": name}, "rate-column")
        for name in ("CurrentFPS", "framesPerSecond", "frames_per_second", "frames/s", "FPS (1/s)")
    },
    "a unit at the end of a name in one word": (
        table(header="n{}FrameTimeUs"),
        {"column": "FrameTimeUs"},
        "unit-conflict",
    ),
    "a name in one word, not declared": (
        table(header="n{}FrameTimeMs"),
        {"column": None, "unit": None},
        N,
    ),
    "two columns of frame times, not declared": (
        table([f"{v:.3f},99" for v in FRAMES], header="n{0}frame_ms{0}Frame ms"),
        {"column": None, "unit": None},
        "column-unclear",
    ),
    "seconds taken for milliseconds": (
        table([v / 1000.0 + 0.0005 for v in FRAMES], header="n{}frame"),
        {"column": "frame"},
        "unit-implausible",
    ),
    "microseconds taken for milliseconds": (
        table([str(int(v * 1000)) for v in FRAMES], header="n{}frame"),
        {"column": "frame"},
        "unit-implausible",
    ),
    "seconds": (
        table([f"{v / 1000.0:.6f}" for v in FRAMES], header="n{}frame"),
        {"column": "frame", "unit": "s"},
        N,
    ),
    "nanoseconds": (
        table([str(int(v * 1e6)) for v in FRAMES], header="n{}frame"),
        {"column": "frame", "unit": "ns"},
        N,
    ),
    "unit changes midway": (
        table(FRAMES + [f"{v / 1000.0:.6f}" for v in FRAMES]),
        {},
        "unit-changes",
    ),
    "NaN": (with_row("20,NaN"), {}, "bad-cells"),
    "infinite": (with_row("20,inf"), {}, "bad-cells"),
    "too large for a float": (with_row("20,1e400"), {}, "bad-cells"),
    "digits beyond a float": (with_row("20," + "9" * 400), {}, "bad-cells"),
    "blank cell": (with_row("20,"), {}, "bad-cells"),
    "N/A": (with_row("20,N/A"), {}, "bad-cells"),
    "underscore in a number": (with_row("20,1_6.4"), {}, "not-a-number"),
    "hexadecimal": (with_row("20,0x1A"), {}, "not-a-number"),
    "two points": (with_row("20,16.4.1"), {}, "not-a-number"),
    "sign and exponent": (with_row("20,+1.64e1"), {}, N),
    "digits of another script": (with_row("20,\N{ARABIC-INDIC DIGIT ONE}6"), {}, "not-a-number"),
    "negative": (with_row("20,-0.412"), {}, "negative-times"),
    "zero": (with_row("20,0.0"), {}, "zero-times"),
    "too small for a float": (with_row("20,1e-400"), {}, "zero-times"),
    "frames lost": (
        table().replace("\n20,16.594", "", 1).replace("\n20,", "\n21,", 1),
        {},
        "frames-lost",
    ),
    "rows twice": (table(first=1).replace("\n21,", "\n19,1\n20,1\n21,", 1), {}, "rows-repeated"),
    "frames lost, as the counter stands in one word": (
        table(header="FrameNumber{}frame_ms").replace("\n20,", "\n21,", 1),
        {},
        "frames-lost",
    ),
    "every second frame lost": (numbered(range(1, 2 * N, 2)), {}, "frames-lost"),
    "frames lost among the first alone": (
        numbered([1, 3, 5, 7, 9, *range(11, N + 6)]),
        {},
        "frames-lost",
    ),
    "every row twice": (
        numbered([1 + place // 2 for place in range(N)]),
        {},
        "rows-repeated",
    ),
    "frames lost beside a column that counts the rows": (
        table(
            [f"{place + (place > 20)},{value:.3f}" for place, value in enumerate(FRAMES)],
            header="no{0}frame_no{0}frame_ms",
        ),
        {},
        "frames-lost",
    ),
    "frames lost, counted with a point": (
        numbered([f"{place + (place > 20)}.0" for place in range(N)]),
        {},
        "frames-lost",
    ),
    "frames lost, counted beyond what a float tells apart": (
        numbered([10**17 + place + (place > 20) for place in range(N)]),
        {},
        "frames-lost",
    ),
    "a counter beyond what a float tells apart": (
        numbered([10**17 + place for place in range(N)]),
        {},
        N,
    ),
    "frames lost, as only the rows that count can tell": (
        "program,frame_no,frame_ms\n"
        + "".join(
            f"menu,{7 * place},33.4\nquay,{1000 + place + (place > 9)},16.4{place:02d}\n"
            for place in range(20)
        ),
        {"where": (("program", "quay"),)},
        "frames-lost",
    ),
    "a counter of the frames of one kind": (
        "kind,frame_no,frame_ms\n"
        + "".join(f"real,{place},8.3\nmade,{place},8.1\n" for place in range(20)),
        {"kinds_column": "kind", "kinds": ("real",)},
        20,
    ),
    "a counter with a summary below": (
        numbered(range(N)) + "mean,16.71\n",
        {"footer": 1},
        N,
    ),
    "a number of the frame that stays as it is": (numbered([7] * N), {}, N),
    "a number that starts again in every scene": (
        numbered([place % 25 for place in range(N)]).replace("frame_no", "frame_no_in_scene"),
        {},
        N,
    ),
    **{
        f"a number that goes round after {around} under {name}": (
            f"{name},frame_ms\n"
            + "".join(f"{(place + begun) % around},{16 + place % 7 / 10}\n" for place in range(99)),
            {},
            99,
        )
        for name, around, begun in (
            ("idx", 30, 0),
            ("seq", 26, 9),
            ("lap_frame_number", 24, 1),
            ("frame_no", 28, 0),
            ("seq", 60, 0),
        )
    },
    "a number that goes round, declared to count the frames": (
        numbered([place % 9 for place in range(N)]),
        {"counter": "frame_no"},
        "glued-runs",
    ),
    "a number that goes round among rows that count": (
        "program,frame_no,frame_ms\n"
        + "".join(
            f"menu,0,33.4\nquay,{1000 + place + (place > 9)},16.4{place:02d}\n"
            for place in range(20)
        ),
        {"where": (("program", "quay"),)},
        "frames-lost",
    ),
    "several runs glued, none as long as another": (
        "frame_no,frame_ms\n"
        + "".join(
            f"{place},{16 + place % 7 / 10}\n" for rows in (30, 33, 31, 29) for place in range(rows)
        ),
        {},
        "glued-runs",
    ),
    "frames lost between two rounds": (
        "seq,frame_ms\n"
        + "".join(f"{(place + (place > 70)) % 26},{16 + place % 7 / 10}\n" for place in range(110)),
        {},
        "frames-lost",
    ),
    **{
        f"{name} beside a column that counts": (beside(name, numbers), {}, expected)
        for name, numbers, expected in (
            ("present id", [1000 + place - place // 9 for place in range(N)], N),
            ("last frame id", [1000 + place - place // 9 for place in range(N)], N),
            ("seq", [place + (place > 20) for place in range(N)], N),
            ("frame_no", [place + (place > 20) for place in range(N)], "frames-lost"),
        )
    },
    "counters of other things": (
        table(
            [f"{place * 16},{place // 9},{value:.3f}" for place, value in enumerate(FRAMES)],
            header="n{0}frame{0}frame_count{0}frame_ms",
        ),
        {},
        N,
    ),
    "counter that does not count": (
        with_row("x,16.4"),
        {"counter": "frame_no"},
        "not-a-number",
    ),
    "clock": (
        table([f"{v:.6f}" for v in CLOCK], header="n{}t_s"),
        {"column": "t_s", "unit": "s", "values": "clock"},
        N - 1,
    ),
    "clock taken for durations": (
        table([f"{v:.6f}" for v in CLOCK], header="n{}t_s"),
        {"column": "t_s", "unit": "s"},
        "looks-like-clock",
    ),
    **{
        f"instants taken for durations, {name}": (
            "t_ms\n" + "".join(f"{value:.3f}\n" for value in values),
            {"column": "t_ms"},
            "looks-like-clock",
        )
        for name, values in (
            ("long after the start", [5000.0 + 16.6 * place for place in range(60)]),
            ("after a step back", [9.0, 5.0, *(5000.0 + 16.6 * place for place in range(60))]),
            ("running down", [5000.0 - 16.6 * place for place in range(60)]),
            ("of a coarse clock", [300.0 + 15 * (place // 3) for place in range(60)]),
            ("counted", [4166.0 + place for place in range(60)]),
        )
    },
    "durations that only count the rows": (
        "frame_ms\n" + "".join(f"{place}\n" for place in range(1, 61)),
        {},
        60,
    ),
    "durations that rise for a while": (
        "t_ms\n" + "".join(f"{value:.3f}\n" for value in [*range(30, 79), *FRAMES]),
        {"column": "t_ms"},
        49 + N,
    ),
    "durations on a coarse grid": (
        "t_ms\n" + "".join(f"{16 + place // 20}\n" for place in range(120)),
        {"column": "t_ms"},
        120,
    ),
    "clock that steps back": (
        table([f"{v:.6f}" for v in CLOCK[:20] + CLOCK[10:]], header="n{}t_s"),
        {"column": "t_s", "unit": "s", "values": "clock"},
        "clock-steps-back",
    ),
    "clock that stands still": (
        table([f"{v:.6f}" for v in CLOCK[:20] + CLOCK[19:]], header="n{}t_s"),
        {"column": "t_s", "unit": "s", "values": "clock"},
        "zero-times",
    ),
    "clock that is infinite": (
        table([f"{v:.6f}" for v in CLOCK[:20]] + ["1e999"], header="n{}t_s"),
        {"column": "t_s", "unit": "s", "values": "clock"},
        "bad-cells",
    ),
    "one clock value": (
        "n,t_s\n1,4.5\n",
        {"column": "t_s", "unit": "s", "values": "clock"},
        "no-frames",
    ),
    "two programs": (
        "program,frame_ms\n" + "launcher,33.4\nquay,16.41\nquay,16.5\n" * 9,
        {},
        "programs-mixed",
    ),
    "one of two programs": (
        "program,frame_ms\n" + "launcher,33.4\nquay,16.41\nquay,16.5\n" * 9,
        {"where": (("program", "quay"),)},
        18,
    ),
    "none of the programs": (
        "program,frame_ms\n" + "launcher,33.4\nquay,16.41\n" * 9,
        {"where": (("program", "other"),)},
        "no-frames",
    ),
    **{
        f"two programs under {name}": (mixed(name, *texts), {}, "programs-mixed")
        for name, *texts in (
            ("ProcessName", "quay", "menu"),
            ("Application Name", "quay", "menu"),
            ("exe_name", "quay", "menu"),
            ("targetProcess", "quay", "menu"),
            ("pid", "4016", "972"),
            ("process_id", "4016", "972"),
            ("program_name", "quay", "menu"),
            ("app_name", "on", "off"),
            ("Application", "quay", "menu"),
            ("process", "quay", "menu"),
            ("app window", "quay.exe", "menu.exe"),
            ("process started", "/usr/bin/quay", "C:\\menu\\menu"),
        )
    },
    **{
        f"kinds of frames under {name}": (mixed(name, *texts), {}, "kinds-mixed")
        for name, *texts in (
            ("FrameType", "shown", "made"),
            ("FrameKind", "0", "1"),
            ("is_generated", "0", "1"),
            ("was_dropped", "false", "true"),
            ("isDropped", "no", "yes"),
            ("dropped", "On", "off"),
            ("is_interpolated", "on", "off"),
        )
    },
    **{
        f"no programs and no kinds under {name}": (mixed(name, *texts), {}, N)
        for name, *texts in (
            ("ProcessName", "quay"),
            ("process_cpu_percent", "12", "13.5", "11"),
            ("app_memory_mb", "812", "813"),
            ("process_threads", "41", "42"),
            ("AppFocused", "true", "false"),
            ("app_state", "menu", "loop"),
            ("FrameType", "shown"),
            ("frames_dropped", "0", "1"),
            ("dropped_frame", "0", "3", "5"),
            ("pixel_type", "a", "b"),
            ("app_resolution", "1920x1080", "1600x900"),
            ("app_sync", "on", "off"),
            ("app_thread", "main", "render"),
            ("application window", "Quay", "Quay - paused"),
            ("application focus", "held", "lost"),
            ("app result", "shown", "late"),
            ("app tier", "low", "high"),
            ("process affinity", "0xff", "0x0f"),
            ("app wait", "NA", "3"),
            ("app_log_path", r"C:\logs\a.log", "/var/log/b.log"),
            ("app", "1.5", "2.25"),
        )
    },
    "kinds of frames": (
        "kind,frame_ms\n" + "real,8.3\nmade,8.1\n" * 9,
        {},
        "kinds-mixed",
    ),
    "one kind of frames": (
        "kind,frame_ms\n" + "real,8.3\nmade,8.1\n" * 9,
        {"kinds_column": "kind", "kinds": ("real",)},
        9,
    ),
    "titles that look missing": (
        "title,mean_ms\nNA,16.7\nNone,16.9\nnull,17.0\nNaN,17.1\nTrue,17.2\n007,17.3\n1e5,17.4\n",
        {"column": "mean_ms"},
        7,
    ),
    "one column": ("frame_ms\n" + "16.4\n16.9\n" * 9, {}, 18),
    "one column, blank cell": ("frame_ms\n16.4\n16.9\n\n16.4\n16.9\n", {}, "blank-line"),
    "JSON that is an array": (
        '[{"frame_ms": 16.4},\n{"frame_ms": 16.5}]\n',
        {},
        "row-width",
    ),
    "JSON lines in UTF-16": (
        '{"frame_ms": 16.4}\n{"frame_ms": 16.5}\n'.encode("utf-16"),
        {},
        "row-width",
    ),
    "no table at all": (bytes(range(1, 256)) * 4 + b"\n", {}, "column-missing"),
}

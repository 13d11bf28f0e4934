"""Ceilings as a person reads them, and as JSON.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from harness.summary.ceilings import LevelCeiling, Link, TitleCeilings
from harness.summary.plateaus import Plateau

SCHEMA = "harness.ceilings/1"


def as_text(found: Sequence[TitleCeilings], *, figure: str, band: float) -> Iterator[str]:
    """Yield the lines of all titles."""
    for title in found:
        others = "".join(f", {name} {level}" for name, level in title.others)
        yield f"{title.title}, {title.scene}{others} (run {title.run} on {title.rig})"
        settings = dict.fromkeys(s for level in title.levels for s, _, _ in level.rates)
        size = max(len(each.level) for each in title.levels)
        for each in title.levels:
            rates = {s: f"{s} {rate:.4g} (n {n})" for s, rate, n in each.rates}
            shown = ", ".join(rates[s] for s in settings if s in rates)
            yield f"  {title.condition} {each.level:<{size}}  {shown} {title.unit}"
        for each in title.levels:
            yield from (f"  {line}" for line in _level(each, title))
        yield from _bytes(title)
        yield from (f"  left out: {label}: {why}" for label, why in title.left_out)
        yield ""
    yield f"{figure} ({found[0].definition}): geometric means over kept passes (n)"
    yield (
        f"ceiling: at least two settings within {100 * band:g} % of each other, where the fastest "
        "level goes on; 95 % interval from the noise of passes"
    )
    if any(each.bytes_per_s is not None for title in found for each in title.levels):
        yield (
            "GB/s: 10^9 bytes a second; published: one direction, after line coding, no overhead "
            "off"
        )


def _level(each: LevelCeiling, title: TitleCeilings) -> Iterator[str]:
    name = f"{title.condition} {each.level}"
    if each.level == title.free:
        yield f"{name}: the fastest over all; its rate orders the settings"
        return
    top = each.ceiling
    if top is None:
        yield f"{name}: no ceiling seen"
        return
    interval = "no interval" if top.low is None else f"{top.low:.4g} to {top.high:.4g}"
    yield (
        f"{name}: ceiling at {top.rate:.4g} {title.unit} ({interval}) over "
        f"{', '.join(top.settings)}, {100 * top.apart:.2g} % apart, while {title.condition} "
        f"{title.free} goes from {top.other_from:.4g} to {top.other_to:.4g} {title.unit}"
    )
    if each.bytes_per_s is not None:
        line = f"{name}: implied transfer rate {each.bytes_per_s / 1e9:.3g} GB/s"
        if each.link is not None:
            line += (
                f", {100 * each.bytes_per_s / each.link.bytes_per_s:.0f} % of the "
                f"{each.link.bytes_per_s / 1e9:.4g} GB/s published for x{each.link.width} of "
                f"generation {each.link.generation} ({each.link.known})"
            )
        yield line
    elif title.bytes_from == "declared":
        yield (
            f"{name}: implied transfer rate not known: no one size is declared for the frames of "
            "these settings"
        )


def _bytes(title: TitleCeilings) -> Iterator[str]:
    if title.bytes_per_frame is None and title.bytes_from == "declared":
        sizes = ", ".join(
            f"{each.level} {each.bytes_per_frame / 2**20:.4g} MiB"
            for each in title.levels
            if each.ceiling is not None and each.bytes_per_frame is not None
        )
        if sizes:
            yield f"  bytes per frame: {sizes}, declared"
        return
    if title.bytes_per_frame is None:
        if any(each.ceiling is not None for each in title.levels):
            yield (
                "  bytes per frame: not known; say bytes_per_frame in the plan, or measure levels "
                "with different links"
            )
        return
    yield f"  bytes per frame: {title.bytes_per_frame / 2**20:.4g} MiB, {title.bytes_from}"
    if title.bytes_from == "fitted":
        yield (
            "    with the link taken at its published rate, which none reaches: the true bytes are "
            "fewer, and the share of the published rate says nothing here"
        )


def as_json(
    found: Sequence[TitleCeilings], *, figure: str, band: float, condition: str
) -> dict[str, object]:
    """Return the object of ``ceilings --json``; its shape is described in schemas.md."""
    return {
        "schema": SCHEMA,
        "figure": figure,
        "band": band,
        "condition": condition,
        "confidence": 0.95,
        "titles": [_title_json(each) for each in found],
    }


def _title_json(title: TitleCeilings) -> dict[str, object]:
    return {
        "run": title.run,
        "rig": title.rig,
        "title": title.title,
        "scene": title.scene,
        "conditions": dict(title.others),
        "unit": title.unit,
        "definition": title.definition,
        "fastest": title.free,
        "bytes_per_frame": title.bytes_per_frame,
        "bytes_from": title.bytes_from or None,
        "levels": [_level_json(each) for each in title.levels],
        "left_out": [{"cell": label, "why": why} for label, why in title.left_out],
    }


def _level_json(each: LevelCeiling) -> dict[str, object]:
    return {
        "level": each.level,
        "rates": [{"setting": s, "mean": rate, "n": n} for s, rate, n in each.rates],
        "ceiling": _plateau_json(each.ceiling),
        "link": _link_json(each.link),
        "bytes_per_frame": each.bytes_per_frame,
        "gb_per_s": None if each.bytes_per_s is None else each.bytes_per_s / 1e9,
    }


def _plateau_json(top: Plateau | None) -> dict[str, object] | None:
    if top is None:
        return None
    return {
        "rate": top.rate,
        "low": top.low,
        "high": top.high,
        "settings": list(top.settings),
        "apart": top.apart,
        "fastest_from": top.other_from,
        "fastest_to": top.other_to,
    }


def _link_json(link: Link | None) -> dict[str, object] | None:
    if link is None:
        return None
    return {
        "generation": link.generation,
        "width": link.width,
        "published_gb_per_s": link.bytes_per_s / 1e9,
        "known": link.known,
    }

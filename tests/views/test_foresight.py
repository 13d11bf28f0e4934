"""What earlier passes say against a plan's band, and what a rig says against its readings."""

from __future__ import annotations

from harness.errors import Problem, render
from harness.plan.check import Checked
from harness.rig.readings import measured, not_measured
from harness.summary.earlier import Earlier
from harness.summary.resolution import Spread
from harness.views.foresight import LEAST_DF, band_not_resolved, not_here
from tests.plan.words import VOCABULARY, changed, source_of

SCENE = ("Lantern Quay", "harbour loop")
OTHER = ("Basalt Run", "export")


def said(text: str, **spreads: Spread) -> Problem | None:
    """Return the warning on the plan of *text*, for spreads by ``quay`` and ``basalt``."""
    from harness.plan.check import check

    source = source_of(text.encode(), "plan.yaml")
    checked: Checked = check(source, VOCABULARY)
    assert checked.values is not None
    scenes = {"quay": SCENE, "basalt": OTHER}
    found = Earlier(
        passes=0,
        lengths={},
        figures={SCENE: "average_fps", OTHER: "average_fps"},
        spreads={scenes[name]: spread for name, spread in spreads.items()},
    )
    return band_not_resolved(checked.accepted(), checked.values, source, found)


def spread(sd: float, df: int = 12) -> Spread:
    return Spread(sd=sd, df=df, passes=df + 4, cells=4)


BANDED = changed(add="compare: {band: 3 %}\n")


def test_a_band_that_the_passes_cannot_tell_is_warned_of_in_full() -> None:
    warning = said(BANDED, quay=spread(0.02))
    assert warning is not None

    # t(97.5 %, 4) = 2.776 (NIST/SEMATECH e-Handbook, 1.3.6.7.2) times 0.02 times sqrt(2 / 3)
    # is 0.0453: a margin is known to 4.6 %. With 5 passes, 2.306 times 0.02 times sqrt(2 / 5)
    # is 0.0292, and ln 1.03 is 0.0296.
    assert render(warning) == (
        "warning[band-not-resolved]: with keep 3 a band of 3 % cannot be told for Lantern Quay: "
        "average_fps spread by 2 % within its cells in 16 earlier passes of 4 cells, so a margin "
        "is known to ±4.6 %\n"
        "  plan.yaml:14:17\n"
        "      compare: {band: 3 %}\n"
        "                      ^^^\n"
        "  Lantern Quay, harbour loop: average_fps spread by 2 % within its cells in 16 earlier "
        "passes of 4 cells; keep 3 tells ±4.6 %, 5 passes would tell 3 %\n"
        "  do: write keep: 5, or write compare: {band: 4.7 %}"
    )


def test_a_band_that_the_passes_can_tell_is_not_spoken_of() -> None:
    assert said(BANDED, quay=spread(0.01)) is None


def test_without_earlier_passes_nothing_is_said() -> None:
    assert said(BANDED) is None


def test_a_spread_of_too_few_passes_says_nothing() -> None:
    assert said(BANDED, quay=spread(0.2, df=LEAST_DF - 1)) is None


def test_the_usual_band_is_warned_of_where_keep_stands() -> None:
    warning = said(changed(), quay=spread(0.02))
    assert warning is not None
    assert warning.place is not None

    assert warning.place.text == "passes: {warm_up: 1, keep: 3, at_most: 6}"


def test_the_most_scattered_title_is_named_first_and_the_others_below() -> None:
    warning = said(BANDED, quay=spread(0.02), basalt=spread(0.05))
    assert warning is not None

    assert "for Basalt Run (and 1 more)" in warning.what
    assert [line.partition(",")[0] for line in warning.where] == ["Basalt Run", "Lantern Quay"]


def test_one_pass_a_cell_tells_nothing_at_all() -> None:
    warning = said(changed(("keep: 3", "keep: 1"), add="compare: {band: 3 %}\n"), quay=spread(0.02))
    assert warning is not None

    assert "known to nothing at all" in warning.what
    assert warning.do == "write keep: 5"


def test_more_passes_than_the_plan_allows_need_a_larger_at_most() -> None:
    warning = said(BANDED, quay=spread(0.04))
    assert warning is not None

    # t(97.5 %, 30) = 2.042 and t(97.5 %, 28) = 2.048 (the same table): half the interval is
    # 0.0289 with 16 passes and 0.0299 with 15, and ln 1.03 is 0.0296.
    assert warning.do.startswith("write keep: 16 and at_most: 16 or more, or ")


def test_what_no_number_of_passes_and_no_band_tells_needs_steadier_passes() -> None:
    warning = said(BANDED, quay=spread(2.0))
    assert warning is not None

    assert warning.do == "make the passes steadier"  # a band is less than 100 %


def test_what_a_rig_cannot_read_is_a_warning_with_its_line() -> None:
    from harness.plan.check import check

    limit = "limits: [{reading: cpu.temperature, at_most: 92 °C}]"
    text = changed(("limits: none", limit))
    source = source_of(text.encode(), "plan.yaml")
    plan = check(source, VOCABULARY).accepted()

    absent = not_measured("cpu.temperature", "no processor sensor is shown here")
    (warning,) = not_here(plan, {"cpu.temperature": absent}, source)

    assert (warning.code, warning.severity) == ("reading-not-here", "warning")
    assert "no processor sensor is shown here" in warning.what
    assert warning.place is not None
    assert warning.place.text == limit
    assert not_here(plan, {"cpu.temperature": measured("cpu.temperature", 50.0)}, source) == ()

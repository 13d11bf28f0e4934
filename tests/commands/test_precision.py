"""``harness precision`` over one store and over several, asked as a person does."""

from __future__ import annotations

import io
import json
import random
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from harness.__main__ import main
from harness.run.ports import Entry
from tests.summary.over_nights import FINGERPRINT, FIRST_NIGHT, counted, entries, keep, plan

CENTRES = {"dale-2": 63.0, "east-3": 59.9, "hill-4": 60.3, "north-2": 60.0, "south-1": 60.2,
           "west-1": 60.1, "wold-5": 60.0}  # fmt: skip


def runs_of(rig: str, *, nights: int = 2) -> list[list[Entry]]:
    chance = random.Random(rig)
    return [
        entries(
            counted([chance.gauss(CENTRES[rig], 0.2) for _ in range(5)]),
            run=f"{rig}-{night + 1}", rig=rig, at=FIRST_NIGHT + timedelta(days=night),
            fields={**FINGERPRINT, "board.model": f"Fen {rig}"},
        )
        for night in range(nights)
    ]  # fmt: skip


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("rigs") / "store"
    return keep(folder, [run for rig in CENTRES for run in runs_of(rig)])


def asked(*arguments: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    status = main(["precision", *arguments], out=out, err=err)
    return status, out.getvalue(), err.getvalue()


def as_json(*arguments: str) -> Any:
    status, out, err = asked("--json", *arguments)
    assert status == 0, err
    return json.loads(out)


def test_seven_rigs_have_spreads_tests_and_the_rig_that_stands_out(store: Path) -> None:
    status, text, _ = asked("--store", str(store))

    assert status == 0
    for words in (
        "over 7 rigs", "repeatability s_r", "reproducibility s_R", "Cochran", "Grubbs for two",
        "OUTLIER: dale-2", "without the outliers dale-2 (Grubbs)", "nights of north-2: 2 of 5",
    ):  # fmt: skip
        assert words in text


def test_what_differs_between_the_rigs_is_named(store: Path) -> None:
    _, text, _ = asked("--store", str(store))

    assert "dale-2 / north-2: the rigs differ in board.model Fen dale-2 / Fen north-2" in text


def test_fewer_rigs_than_six_have_their_differences(store: Path, tmp_path: Path) -> None:
    two = keep(tmp_path / "store", [*runs_of("north-2"), *runs_of("south-1")])
    status, text, _ = asked("--store", str(two))

    assert status == 0
    assert "2 rigs: fewer than the 6 from which reproducibility is told" in text
    assert "south-1 against north-2:" in text
    assert "s_R" not in text


def test_several_stores_are_put_together_and_a_run_that_both_have_counts_once(
    store: Path, tmp_path: Path
) -> None:
    first = keep(tmp_path / "first", [run for rig in list(CENTRES)[:4] for run in runs_of(rig)])
    second = keep(tmp_path / "second", [run for rig in list(CENTRES)[3:] for run in runs_of(rig)])

    together = as_json("--store", str(first), str(second))

    assert together["cells"] == as_json("--store", str(store))["cells"]


def test_one_rig_shows_its_nights(store: Path) -> None:
    found = as_json("--store", str(store), "--where", "rig=north-2", "setting=uhd")

    [cell] = found["cells"]
    assert [each["rig"] for each in cell["rigs"]] == ["north-2"]
    [nights] = cell["nights"]
    assert [each["n"] for each in nights["nights"]] == [5, 5]


def test_a_named_run_is_one_night_and_is_refused(store: Path) -> None:
    status, _, err = asked("--store", str(store), "--where", "run=north-2-1")

    assert status == 2
    assert "no-precision" in err
    assert "one night on one rig" in err


def test_another_procedure_on_a_rig_needs_a_reason_that_is_printed(tmp_path: Path) -> None:
    other = entries(
        counted([60.0, 60.1]), run="other-1", rig="south-1", of=plan(argument="--faster")
    )
    folder = str(keep(tmp_path / "store", [*runs_of("north-2"), other]))

    status, _, err = asked("--store", folder)
    assert status == 2
    assert "procedure-differs" in err
    status, text, _ = asked("--store", folder, "--despite", "the option is a no-op")
    assert status == 0
    assert "THE RIGS DIFFER" in text
    assert "the option is a no-op" in text


UNLIKE = entries(
    counted([60.0, 60.1]), run="other-1", rig="south-1", of=plan(argument="--faster")
)  # fmt: skip
WHY = ("--despite", "the option is a no-op", "--by", "Ines")


def test_rigs_put_together_despite_differences_are_kept_and_told_for_ever(tmp_path: Path) -> None:
    folder = str(keep(tmp_path / "store", [*runs_of("north-2"), UNLIKE]))
    status, _, err = asked("--store", folder, *WHY, "--as-kept")
    assert (status, "reason-not-kept" in err, "harness precision" in err) == (2, True, True)

    asked("--store", folder, *WHY)
    asked("--store", folder, *WHY)  # asked again: kept once
    status, _, err = asked("--store", folder)
    assert (status, "before, by Ines: the option is a no-op" in err) == (2, True)
    assert asked("--store", folder, *WHY, "--as-kept")[0] == 0

    found = as_json("--store", folder, "--despite", "so what", "--by", "Tomas")
    assert [(each["number"], each["by"]) for each in found["kept"]] == [(1, "Ines"), (2, "Tomas")]
    assert {each["side"] for each in found["kept"][0]["cells"]} == {"north-2", "south-1"}
    assert found["kept"][0]["asked"]["command"] == "precision"

    out, err_out = io.StringIO(), io.StringIO()
    main(["verify", folder], out=out, err=err_out)
    assert "comparisons made despite differences: 2" in out.getvalue()
    main(
        ["compare", "--store", folder, "--base", "rig=north-2", "--against", "rig=south-1"],
        out=out, err=err_out,
    )  # fmt: skip
    assert "by Ines: the option is a no-op" in err_out.getvalue()


def test_over_several_stores_each_keeps_its_own_cells_and_together_they_are_one(
    tmp_path: Path,
) -> None:
    north = str(keep(tmp_path / "north", runs_of("north-2")))
    south = str(keep(tmp_path / "south", [UNLIKE]))
    asked("--store", north, south, *WHY)

    for folder in (north, south):
        out, err = io.StringIO(), io.StringIO()
        assert main(["verify", folder], out=out, err=err) == 0, out.getvalue()
    [kept] = as_json("--store", south, north, *WHY)["kept"]
    assert {each["run"] for each in kept["cells"]} == {"north-2-2", "other-1"}


def test_a_later_run_stands_whatever_it_says_and_what_it_took_the_place_of_is_named(
    tmp_path: Path,
) -> None:
    odd = entries(
        counted([-5.0, 60.1]), run="north-2-2", at=FIRST_NIGHT + timedelta(days=1),
        fields={**FINGERPRINT, "board.model": "Fen north-2"},
    )  # fmt: skip
    folder = str(
        keep(tmp_path / "store", [*runs_of("north-2", nights=1), odd, *runs_of("south-1")])
    )
    status, text, _ = asked("--store", folder)

    assert status == 0
    text = " ".join(text.split())
    assert "no ratio: north-2: -5 fps in attempt 1 of run north-2-2 is not above 0" in text
    assert "north-2: 1 cell of run north-2-1: the later run north-2-2 is taken" in text
    found = as_json("--store", folder)
    assert found["earlier"][0] == {
        "rig": "south-1", "run": "south-1-1", "group": 1, "taken": "south-1-2", "cells": 1,
    }  # fmt: skip
    assert found["cells"][0]["no_ratio"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--where", "rig=north-3"), ("bad-selection", "write one of dale-2")),
        (("--where", "rig"), ("bad-selection", "KEY=VALUE")),
        (("--figure", "score"), ("no-precision", "no figure score")),
        (("--despite", "  "), ("no-reason",)),
    ],
)
def test_what_is_asked_wrongly_has_one_clear_error(
    store: Path, arguments: tuple[str, ...], words: tuple[str, ...]
) -> None:
    status, out, err = asked("--store", str(store), *arguments)

    assert (status, out) == (2, "")
    assert all(word in err for word in words), err

from __future__ import annotations

import pytest

from harness.errors import AskedError
from harness.summary.selections import band_of, selection, weights_of


def test_keys_and_values_are_split_at_the_first_sign() -> None:
    assert selection(["slot=alone", "setting=a=b"], option="base") == {
        "slot": ("alone",),
        "setting": ("a=b",),
    }


@pytest.mark.parametrize("texts", [["slot"], ["=alone"], ["slot="]])
def test_what_selects_nothing_is_refused(texts: list[str]) -> None:
    with pytest.raises(AskedError) as error:
        selection(texts, option="base")

    assert error.value.problems[0].code == "bad-selection"


def test_a_band_is_a_share() -> None:
    assert (band_of("2.5 %"), band_of(None)) == (0.025, None)


@pytest.mark.parametrize(
    ("text", "code"),
    [("3", "unit-needed"), ("0 %", "bad-band"), ("100 %", "bad-band"), ("x %", "not-a-quantity")],
)
def test_a_band_that_is_none_is_refused(text: str, code: str) -> None:
    with pytest.raises(AskedError) as error:
        band_of(text)

    assert error.value.problems[0].code == code


def test_a_weight_belongs_to_a_title_whatever_its_name_holds() -> None:
    assert weights_of(["Lantern Quay=2", "a=b=0.5"]) == {"Lantern Quay": 2.0, "a=b": 0.5}


@pytest.mark.parametrize("texts", [["Quay"], ["=2"], ["Quay=0"], ["Quay=2", "Quay=3"], ["Q=x"]])
def test_a_weight_that_is_none_is_refused(texts: list[str]) -> None:
    with pytest.raises(AskedError):
        weights_of(texts)


def test_a_key_that_comes_again_has_one_value_more() -> None:
    assert selection(["run=a", "run=b", "run=a"], option="base") == {"run": ("a", "b")}

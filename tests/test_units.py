"""Numbers and quantities: one grammar, base units, and what is refused."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.units import Unreadable, length_s, number_text, quantity, share, shown, span, whole


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("30 s", 30.0),
        ("30s", 30.0),
        ("2 min", 120.0),
        ("1.5 h", 5400.0),
        ("1 min 30 s", 90.0),
        ("1 h 2 min 3.5 s", 3723.5),
        ("500 ms", 0.5),
        ("250 us", 0.00025),
        ("250 µs", 0.00025),
        ("40 ns", 4e-8),
        ("30 days", 2_592_000.0),
        ("0 s", 0.0),
    ],
)
def test_a_length_of_time_is_read_in_seconds(text: str, seconds: float) -> None:
    assert length_s(text) == seconds


# SI prefixes (SI brochure, table 7) and binary prefixes (IEC 80000-13); 1 min, 1 h, 1 d as in
# table 8 of the SI brochure.
@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("45 °C", "°C", 45.0),
        ("45 C", "°C", 45.0),
        ("-5 °C", "°C", -5.0),
        ("2.4 GHz", "MHz", 2400.0),
        ("2100 MHz", "MHz", 2100.0),
        ("0.3 kW", "W", 300.0),
        ("20 GiB", "GiB", 20.0),
        ("512 MiB", "GiB", 0.5),
        ("1 TiB", "GiB", 1024.0),
        ("1 GB", "bytes", 1e9),
        ("6 MiB", "bytes", 6_291_456.0),
        ("6.4 GT/s", "MT/s", 6400.0),
        ("5 %", "%", 5.0),
        ("16", "", 16.0),
        ("30 us", "us", 30.0),
    ],
)
def test_a_quantity_is_read_in_the_unit_asked_for(text: str, unit: str, value: float) -> None:
    assert quantity(text, unit) == value


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("60", "unit-needed"),
        ("1:30", "unit-needed"),
        ("22:30", "unit-needed"),
        ("60 secs", "unknown-unit"),
        ("3 m", "unknown-unit"),
        ("1.5 h 3 min", "not-a-quantity"),
        ("30 s 1 min", "not-a-quantity"),
        ("1 min 1 min", "not-a-quantity"),
        ("1 min -30 s", "not-a-quantity"),
        (".inf", "not-a-quantity"),
        (".nan", "not-a-quantity"),
        ("infinity", "not-a-quantity"),
        ("", "not-a-quantity"),
        ("s", "not-a-quantity"),
        ("1,5 h", "not-a-number"),
        ("1_000 s", "not-a-number"),
        ("030 s", "leading-zero"),
        ("30 s now", "not-a-quantity"),
        ("٣ s", "not-a-quantity"),
        ("−5 s", "not-a-quantity"),
    ],
)
def test_what_is_no_length_of_time_is_refused(text: str, code: str) -> None:
    with pytest.raises(Unreadable) as caught:
        length_s(text)

    assert caught.value.code == code
    assert caught.value.do


def test_a_clock_form_is_told_both_its_meanings() -> None:
    with pytest.raises(Unreadable) as caught:
        length_s("1:30")

    assert "1 min 30 s or 1 h 30 min" in caught.value.what


@pytest.mark.parametrize(
    ("text", "unit", "code"),
    [
        ("45", "°C", "unit-needed"),
        ("45 F", "°C", "unknown-unit"),
        ("45 W", "°C", "unknown-unit"),
        ("45 C 3 C", "°C", "not-a-quantity"),
        ("16 W", "", "no-unit-here"),
        ("hot", "°C", "not-a-quantity"),
    ],
)
def test_a_quantity_of_another_kind_is_refused(text: str, unit: str, code: str) -> None:
    with pytest.raises(Unreadable) as caught:
        quantity(text, unit)

    assert caught.value.code == code


@pytest.mark.parametrize(
    ("text", "do"),
    [
        ("03", "write 3"),
        ("-03", "write -3"),
        ("1_000", "write 1000"),
        (".5", "write 0.5"),
        ("5.", "write 5"),
        ("00", "write 0"),
    ],
)
def test_a_misspelt_number_is_told_its_spelling(text: str, do: str) -> None:
    with pytest.raises(Unreadable) as caught:
        number_text(text)

    assert caught.value.do == do


@pytest.mark.parametrize("text", ["2.5", "1e3", "0x10", "three", "", "010", "--1", "٣", "1 000"])
def test_only_a_whole_number_is_a_count(text: str) -> None:
    with pytest.raises(Unreadable):
        whole(text)


def test_a_count_of_any_length_is_exact() -> None:
    assert whole("99999999999999999999") == 99_999_999_999_999_999_999


def test_a_count_of_absurd_length_is_refused_and_not_worked_out() -> None:
    with pytest.raises(Unreadable):
        whole("9" * 100_000)


@given(st.integers(0, 10**9), st.integers(0, 6))
def test_a_share_is_the_float_nearest_to_its_decimal(digits: int, places: int) -> None:
    # The reference is decimal.Decimal, exact in base ten.
    text = str(Decimal(digits).scaleb(-places).quantize(Decimal(1).scaleb(-places)))

    assert share(f"{text} %") == float(Decimal(text) / 100)


@given(st.text(max_size=30))
def test_no_text_makes_anything_but_a_value_or_a_sentence(text: str) -> None:
    for read in (length_s, share, whole, number_text):
        try:
            read(text)
        except Unreadable as error:
            said = (error.code, error.what, error.do)
        else:
            continue
        assert all(said)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (59.4, "59 s"),
        (60, "1 min"),
        (90, "1 min 30 s"),
        (3600, "1 h"),
        (3723, "1 h 2 min"),
    ],
)
def test_a_span_is_shown_in_its_two_largest_units(seconds: float, text: str) -> None:
    assert span(seconds) == text


def test_a_long_text_is_cut_where_it_is_shown() -> None:
    assert len(shown("x" * 10_000)) < 50

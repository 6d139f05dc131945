"""Sizes against the standards' prefixes.

Sources: IEC 80000-13:2008, table of binary prefixes (kibi = 2^10 ... tebi = 2^40); SI brochure, 9th edition, table 7
(kilo = 10^3 ... tera = 10^12). The worked conversions are arithmetic from these two.
"""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bedplate.units import GIB, MIB, UNITS, Rest, Share, align_down, align_up, in_gib, parse_request, parse_size


@pytest.mark.parametrize(("unit", "power"), [("KiB", 10), ("MiB", 20), ("GiB", 30), ("TiB", 40)])
def test_binary_prefixes(unit: str, power: int) -> None:
    assert parse_size(f"3{unit}").bytes == 3 * 2**power


@pytest.mark.parametrize(("unit", "power"), [("kB", 3), ("MB", 6), ("GB", 9), ("TB", 12)])
def test_decimal_prefixes(unit: str, power: int) -> None:
    assert parse_size(f"3 {unit}").bytes == 3 * 10**power


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (60000 * MIB, "58.59 GiB"),
        (120 * 10**9, "111.76 GiB"),
        (128 * 10**9, "119.21 GiB"),
        (256 * 10**9, "238.42 GiB"),
        (500 * 10**9, "465.66 GiB"),
        (1000 * 10**9, "931.32 GiB"),
        (2000 * 10**9, "1.82 TiB"),
        (512 * MIB, "512 MiB"),
        (1023, "1023 B"),
        (-3 * GIB // 2, "-1.5 GiB"),
    ],
)
def test_sizes_in_words(count: int, words: str) -> None:
    assert in_gib(count) == words


@pytest.mark.parametrize(
    ("text", "hint"),
    [("64G", "write GiB (1024) or GB (1000)"), ("64gib", "write GiB (1024) or GB (1000)"), ("5K", "KiB (1024) or kB")],
)
def test_a_mistyped_unit_is_told_the_two_right_ones(text: str, hint: str) -> None:
    with pytest.raises(ValueError, match="unknown unit") as caught:
        parse_size(text)
    assert hint in str(caught.value)


@pytest.mark.parametrize("text", ["", "GiB", "-1GiB", "1e3MiB", "0MiB", "0.1B", "1,5GiB", "１GiB", "5 %%"])
def test_what_is_no_size(text: str) -> None:
    with pytest.raises(ValueError, match=r"size|unit"):
        parse_size(text)


def test_part_of_a_byte_is_dropped() -> None:
    """2.6 GiB is 2791728742.4 bytes (arithmetic from the prefixes)."""
    assert parse_size("2.6GiB").bytes == 2791728742


def test_requests() -> None:
    assert parse_request("rest") == Rest()
    assert parse_request("12.5%") == Share(Fraction(25, 2), "12.5%")
    with pytest.raises(ValueError, match="at most 100"):
        parse_request("101%")


@given(st.integers(1, 10**6), st.sampled_from(sorted(UNITS)))
def test_whole_numbers_are_exact(number: int, unit: str) -> None:
    assert parse_size(f"{number}{unit}").bytes == number * UNITS[unit]


@given(st.integers(0, 10**15), st.integers(1, 10**7))
def test_alignment_brackets_the_value(value: int, grain: int) -> None:
    down, up = align_down(value, grain), align_up(value, grain)
    assert down <= value <= up
    assert down % grain == up % grain == 0
    assert up - down in (0, grain)

"""Times, penalties and averages: worked cases of the Regulations' articles."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, SOLVED_BYTES, apply_turns
from livecube.errors import UsageError
from livecube.timing.averages import average, best_average, current_averages, left_out, mean
from livecube.timing.results import (
    Penalty,
    Result,
    inspection_penalties,
    next_call,
    parse_penalties,
    parse_time,
    penalties_json,
    penalties_sentence,
    penalties_text,
    result_json,
    result_of,
    result_text,
    seconds_text,
    standing,
    standing_penalties,
    time_text,
    to_the_millisecond,
    truncated,
    workings_text,
)

PLUS, NONE = Penalty("+2"), Penalty("DNF")


def results(text: str) -> list[Result]:
    """``12.67 DNF 1:02.03`` as results."""
    return [word if word in ("DNF", "DNS") else parse_time(word) for word in text.split()]  # type: ignore[misc]


@pytest.mark.parametrize(
    ("ms", "shown"),
    [
        (12_678, "12.67"),  # article 9f1's own example
        (0, "0.00"),
        (9, "0.00"),
        (10, "0.01"),
        (59_999, "59.99"),
        (60_000, "1:00.00"),
        (62_034, "1:02.03"),
        (599_999, "9:59.99"),  # under ten minutes to the last
        (600_000, "10:00"),  # article 9f2: whole seconds from here on
        (605_999, "10:05"),
        (3_725_400, "62:05"),
    ],
)
def test_times_are_cut_not_rounded(ms: int, shown: str) -> None:
    assert time_text(truncated(ms)) == shown
    if ms < 60_000:
        assert seconds_text(ms / 1000) == shown


def test_predicted_seconds_are_whole_milliseconds() -> None:
    assert to_the_millisecond(0.1 + 0.2) == 0.3
    assert to_the_millisecond(1.23456) == 1.235


@pytest.mark.parametrize(
    ("ms", "penalties", "counts", "workings"),
    [
        (12_678, (), "12.67", "12.67"),
        (12_678, (PLUS,), "14.67", "12.67 + 2 = 14.67"),  # article A7b4: T + X = F
        (12_678, (PLUS, PLUS), "16.67", "12.67 + 4 = 16.67"),
        (12_678, (NONE,), "DNF", "DNF (12.67)"),
        (12_678, (PLUS, NONE), "DNF", "DNF (12.67)"),
        (58_500, (PLUS,), "1:00.50", "58.50 + 2 = 1:00.50"),
        (599_559, (PLUS,), "10:01", "9:59.55 + 2 = 10:01"),
        (601_990, (PLUS,), "10:03", "10:01 + 2 = 10:03"),
    ],
)
def test_penalties_are_added_to_what_is_cut(
    ms: int, penalties: tuple[Penalty, ...], counts: str, workings: str
) -> None:
    assert result_text(result_of(ms, penalties)) == counts
    assert workings_text(ms, penalties) == workings


@pytest.mark.parametrize(
    ("what", "given_results", "expected"),
    [
        # Article 9f8: the best and the worst of five are left out.
        (average, "10.00 11.00 12.00 13.00 14.00", "12.00"),
        (average, "14.00 10.00 12.00 11.00 13.00", "12.00"),
        (average, "9.99 9.99 9.99 9.99 9.99", "9.99"),
        # Article 9f1: averages are rounded, a half upwards.
        (average, "1.00 10.00 10.00 10.01 99.00", "10.00"),  # 10.0033
        (average, "1.00 10.00 10.01 10.01 99.00", "10.01"),  # 10.0067
        (mean, "10.00 10.01", "10.01"),  # 10.005
        (mean, "10.00 10.00 10.01", "10.00"),
        # Article 9f9: one DNF or DNS is the worst, two make DNF.
        (average, "10.00 DNF 12.00 13.00 14.00", "13.00"),
        (average, "DNS 11.00 12.00 13.00 10.00", "12.00"),
        (average, "DNF 11.00 DNF 13.00 10.00", "DNF"),
        (average, "DNF 11.00 DNS 13.00 10.00", "DNF"),
        # Articles 9f10, 9f11: a mean of three, in which any DNF makes DNF.
        (mean, "10.00 11.00 12.01", "11.00"),  # 11.0033
        (mean, "10.00 11.00 12.02", "11.01"),  # 11.0067
        (mean, "10.00 DNF 12.00", "DNF"),
        (mean, "10.00 11.00 DNS", "DNF"),
        # Ten minutes: a time counts whole seconds; an average from there on is rounded to them.
        (mean, "9:59.99 9:59.99 10:00", "9:59.99"),  # 599.9933
        (mean, "9:59.99 10:00 10:00", "10:00"),  # 599.9967 is under ten minutes: 600.00
        (mean, "10:00 10:00 10:01", "10:00"),  # 600.33
        (mean, "10:00 10:01", "10:01"),  # 600.5
        (average, "9:00.00 10:00 10:01 10:01 11:00", "10:01"),  # 600.67
        # Twelve (common practice): one left out at either end.
        (average, "1.00 10 10 10 10 10 10 10 10 10 10 DNF", "10.00"),
        (average, "1.00 10 10 10 10 10 10 10 10 10 DNF DNF", "DNF"),
    ],
)
def test_averages(what: object, given_results: str, expected: str) -> None:
    assert callable(what)
    assert result_text(what(results(given_results))) == expected


def test_so_many_are_left_out() -> None:
    """5: article 9f8. 12, 50 and 100: common practice, a twentieth rounded up."""
    for count, aside in ((5, 1), (12, 1), (20, 1), (21, 2), (40, 2), (41, 3), (50, 3), (100, 5)):
        assert left_out(count) == aside


def test_an_average_of_a_hundred_bears_five_without_a_time() -> None:
    times: list[Result] = [10_000] * 95
    assert average([*times, *["DNF"] * 5]) == 10_000  # type: ignore[list-item]
    assert average([*times[1:], *["DNF"] * 6]) == "DNF"  # type: ignore[list-item]


@given(st.lists(st.integers(0, 59_999).map(lambda hundredths: 10 * hundredths), min_size=5))
def test_averages_agree_with_exact_fractions(times: list[int]) -> None:
    aside = left_out(len(times))
    middle = sorted(times)[aside : len(times) - aside]
    exact = Fraction(sum(middle), len(middle))
    hundredths = (exact / 10 + Fraction(1, 2)).__floor__()
    assert average(list(times)) == 10 * hundredths


def test_current_and_best_averages() -> None:
    several = results("20.00 10.00 11.00 12.00 13.00 14.00 DNF")
    current = current_averages(several)
    assert current == {"mean of 3": "DNF", "average of 5": parse_time("13.00")}
    assert best_average(several, 5) == parse_time("12.00")
    assert best_average(several, 12) is None


@given(st.lists(st.sampled_from(["DNF", "DNS"]) | st.integers(800, 820), max_size=40))
def test_the_best_average_is_the_best_of_all(several: list[Result]) -> None:
    for count in (5, 12):
        windows = [several[at : at + count] for at in range(len(several) - count + 1)]
        every = [average(window) for window in windows]
        times = [one for one in every if not isinstance(one, str)]
        expected = min(times) if times else "DNF" if every else None
        assert best_average(several, count) == expected


@pytest.mark.parametrize(
    ("ms", "kinds"),
    [
        (0, []),
        (14_999, []),  # article A3a1: less than 15 seconds
        (15_000, ["+2"]),  # article A4d1
        (16_999, ["+2"]),
        (17_000, ["DNF"]),  # article A4d2
        (60_000, ["DNF"]),
    ],
)
def test_inspection(ms: int, kinds: list[str]) -> None:
    assert [penalty.kind for penalty in inspection_penalties(ms)] == kinds


def test_calls() -> None:
    """Articles A3b3, A3b4: at 8 and 12 seconds; and then the limits."""
    moments = [0]
    while (moment := next_call(moments[-1])) is not None:
        moments.append(moment)
    assert moments == [0, 8_000, 12_000, 15_000, 17_000]
    assert next_call(7_999) == 8_000


@pytest.mark.parametrize(
    ("turns", "how", "kinds"),
    [
        ("", "solved", []),
        ("U", "one turn short", ["+2"]),  # article 10f1
        ("R2", "one turn short", ["+2"]),
        ("U U", "one turn short", ["+2"]),
        ("U D", "not solved", ["DNF"]),
        ("R U", "not solved", ["DNF"]),
    ],
)
def test_how_the_cube_stands_when_the_time_is_stopped(
    turns: str, how: str, kinds: list[str]
) -> None:
    position = apply_turns(SOLVED, parse_turns(turns)).tobytes()
    assert standing(position) == how
    assert [penalty.kind for penalty in standing_penalties(position)] == kinds
    assert standing(SOLVED_BYTES) == "solved"
    (*penalties,) = standing_penalties(position)
    assert penalties_json(penalties) == [{"kind": kind, "reason": how} for kind in kinds]
    assert penalties_sentence(penalties * 2) == (how if kinds else "")


def test_a_result_in_json_is_a_time_or_a_reason_why_there_is_none() -> None:
    assert result_json(12_670) == {"result_ms": 12_670, "no_time": None}
    assert result_json("DNS") == {"result_ms": None, "no_time": "DNS"}


@given(st.integers(0, 59_999_99))
def test_times_are_read_as_they_are_written(hundredths: int) -> None:
    ms = truncated(10 * hundredths)
    assert parse_time(time_text(ms)) == ms


@pytest.mark.parametrize("text", ["none", "+2", "+4", "DNF"])
def test_penalties_are_read_as_they_are_written(text: str) -> None:
    assert penalties_text(parse_penalties(text)) == text


@pytest.mark.parametrize("text", ["", "12.", "1:60.00", "1:75.00", "12,5", "ten"])
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        parse_time(text)
    with pytest.raises(UsageError):
        parse_penalties(text)


def test_averages_are_those_of_the_regulations_and_of_common_practice() -> None:
    """Mean of 3 and average of 5: article 9b; of 12, 50 and 100: common practice, no source."""
    times: list[Result] = [1000 * n for n in range(1, 101)]
    told = current_averages(times)
    assert list(told) == ["mean of 3", "average of 5", *(f"average of {n}" for n in (12, 50, 100))]
    # Of times that rise evenly the average is the middle one, whatever is left out.
    assert list(told.values()) == [99_000, 98_000, 94_500, 75_500, 50_500]
    for count, there in (
        (2, 0),
        (3, 1),
        (4, 1),
        (5, 2),
        (11, 2),
        (12, 3),
        (49, 3),
        (50, 4),
        (99, 4),
    ):
        assert len(current_averages(times[:count])) == there

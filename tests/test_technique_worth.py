"""What a technique is worth: a truth that is put into pairs is found again, and no other."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
from technique_worth_check import drawn_person

from livecube.edges.log_files import LogWriter
from livecube.history.importing import import_log
from livecube.history.store import History
from livecube.logs.lines import Header
from livecube.solves.records import Price, Wanted
from livecube.trends.making import trends_of
from livecube.trends.measures import WorthColumns
from livecube.trends.text import trends_json, trends_lines
from livecube.trends.worth import FEWEST_BLOCKS, FEWEST_PAIRS, comparable, worth_of, worths
from livecube.virtual.session import session

if TYPE_CHECKING:
    from pathlib import Path

COUNT = 240


def pairs(worth: float) -> tuple[np.ndarray, ...]:
    """Pairs of 12 evenings: seconds, taken, place, price, session."""
    rng = np.random.default_rng(1)
    block = np.repeat(np.arange(12), COUNT // 12)
    place = np.arange(COUNT) % 4 + 1
    price = np.arange(COUNT) % 7 / 20
    # More often among first and among cheap pairs: what these save must not count as its worth.
    taken = rng.random(COUNT) < 0.15 + 0.3 * (place == 1) + 0.3 * (price < 0.1)
    seconds = 2 + 0.1 * block - 0.2 * place + 2 * price - worth * taken
    seconds += 0.5 * taken * (price - price[taken].mean()) + rng.normal(0, 0.05, COUNT)
    return seconds, taken, place, price, block


def test_what_was_put_in_is_found_again_whatever_evening_and_pair_it_is() -> None:
    for worth in (0.4, 0.0, -0.3):
        found = worth_of(*pairs(worth))
        assert found is not None
        assert found.low is not None
        assert found.high is not None
        assert found.low < worth < found.high
        assert found.high - found.low < 0.08
        assert abs(found.value - worth) < 0.03


def test_columns_hold_milliseconds() -> None:
    seconds, taken, place, price, block = pairs(0.4)
    ms, price_ms = (np.round(1000 * its).astype(int) for its in (seconds, price))
    none = np.zeros(COUNT, dtype=int)
    columns = WorthColumns(("keyhole-corner",), none, none, place, ms, price_ms, taken)
    (found,) = worths(columns, block)
    assert found.saved == worth_of(ms / 1000, taken, place, price_ms / 1000, block)


def test_a_hesitation_changes_little() -> None:
    seconds, *rest = pairs(0.4)
    seconds[0] += 60
    found = worth_of(seconds, *rest)
    assert found is not None
    assert abs(found.value - 0.4) < 0.1


def test_fifteen_pairs_of_both_kinds_tell_something_if_eight_evenings_hold_both() -> None:
    seconds, _, place, price, block = pairs(0.4)
    nth = np.arange(COUNT) % 20  # of its evening

    def tells(taken: np.ndarray) -> bool:
        return worth_of(seconds, taken, place, price, block) is not None

    assert (FEWEST_PAIRS, FEWEST_BLOCKS) == (15, 8)
    for count, enough in ((14, False), (15, True)):
        some = 12 * nth + block < count  # one of each evening, then a second of each
        assert some.sum() == count
        assert tells(some) is enough
        assert tells(~some) is enough
    for evenings, enough in ((7, False), (8, True)):
        both = (block < evenings) & (nth < 4)
        assert tells(both) is enough
        assert tells(both | (block == 11)) is enough  # that evening holds one kind only
    assert not tells(np.ones(COUNT))


@pytest.mark.thorough
def test_intervals_hold_the_truth_of_drawn_persons() -> None:
    rng = np.random.default_rng(3)
    held = []
    for _ in range(40):
        worth, drawn = drawn_person(rng)
        found = worth_of(*drawn)
        if found is not None and found.low is not None and found.high is not None:
            held.append(found.low <= worth <= found.high)
    assert len(held) > 30
    assert sum(held) >= 0.85 * len(held)


def test_trends_tell_it_from_the_reviews_of_kept_solves(tmp_path: Path) -> None:
    log = tmp_path / "log.jsonl"
    with LogWriter(log, Header("2026-03-01T18:20:00Z", "x", "cube")) as writer:
        for event in session(2, 3).events():
            writer.write(event)
    with History(tmp_path / "history") as history:
        import_log(history, log, "Ada")
        assert history.worth(Wanted()).techniques == ()
        one, two, three = [solve.number for solve in history.list(Wanted())]
        history.database.execute("UPDATE stage SET shared = 0, gap = 0, technique = 'plain'")
        history.database.execute(
            "UPDATE stage SET technique = 'pseudo-pair' WHERE solve = ? AND place IN (2, 3)", (one,)
        )
        history.database.execute("UPDATE stage SET shared = place = 3 WHERE solve = ?", (one,))
        for number in (one, two, three):
            prices = [
                Price(2, "pseudo-pair", 300, taken=number == one),
                Price(2, "keyhole-edge", 100, taken=False),
                Price(4, "pseudo-pair", 0, taken=False),
                Price(2, "plain", 0, taken=number != one),
            ]
            history.note_chances(number, [], prices)
        found = history.worth(Wanted())
        assert found.techniques == ("keyhole-edge", "pseudo-pair")
        rows = sorted(zip(found.technique.tolist(), found.solve.tolist(), strict=True))
        assert rows == [(0, two), (0, three), (1, one), (1, two), (1, three)]
        ms = dict(zip(rows, _ms(found), strict=True))
        stages = {number: history.stages(number) for number in (one, two, three)}
        assert ms[0, two] == stages[two][2].ms
        assert ms[1, two] == stages[two][2].ms + stages[two][3].ms
        assert ms[1, one] == stages[one][2].ms + stages[one][3].ms
        trends = trends_of(*history.columns(Wanted()), np.random.default_rng(1), None, found)
    assert trends is not None
    [told] = json.loads(json.dumps(trends_json(trends)))["worth"]
    assert told == {"name": "pseudo-pair", "used": 1, "plain": 2, "saved": None}
    assert [one.name for one in trends.worth] == ["pseudo-pair"]
    lines = "\n".join(trends_lines(trends, 80))
    assert ("too few to tell" in lines) == (trends.left is not None)


def _ms(found: WorthColumns) -> list[int]:
    order = np.lexsort((found.solve, found.technique))
    return [int(one) for one in found.ms[order]]


def test_a_technique_for_two_slots_is_compared_with_two_pairs() -> None:
    """It fills two if more than half of its pairs were done together with the next one."""
    rows = [  # technique, place, milliseconds, of the next stage, together, taken
        (0, 1, 100, 1, 1, 1), (0, 3, 200, 2, 1, 1), (0, 2, 300, 4, 0, 1), (0, 2, 400, 8, 0, 0),
        (0, 4, 500, 16, 0, 0), (0, 4, 600, 32, 0, 1),
        (1, 1, 110, 1, 1, 1), (1, 2, 120, 2, 0, 1), (1, 4, 130, 4, 1, 0),
        (2, 4, 140, 8, 1, 0),
    ]  # fmt: skip
    technique, place, ms, next_ms, together, taken = np.array(rows).T
    solve, price = np.arange(10), 1000 + np.arange(10)

    def found(own: np.ndarray) -> WorthColumns:
        pairs = WorthColumns(("a", "b", "c"), solve, technique, place, ms, price, taken)
        return comparable(pairs, next_ms, own)

    whole = found(together)  # two of four are not more than half of them
    assert whole.solve.tolist() == solve.tolist()
    assert whole.ms.tolist() == ms.tolist()
    together[2] = 1
    two = found(together)
    assert two.solve.tolist() == [0, 1, 2, 3, 5, 6, 7, 8, 9]
    assert two.ms.tolist() == [101, 202, 304, 408, 632, 110, 120, 130, 140]
    assert two.price_ms.tolist() == [1000 + n for n in two.solve]
    assert two.taken.tolist() == [1, 1, 1, 0, 1, 1, 1, 0, 0]
    assert (two.technique.tolist(), two.place.tolist()) == (
        [technique[n] for n in two.solve], [place[n] for n in two.solve]
    )  # fmt: skip

"""A listener's knowledge of a desk, with values worked out by hand."""

from __future__ import annotations

import json
from typing import Any

import pytest

from livecube.dashboard.desks import DeskNow, Desks


def heard(*messages: tuple[str, dict[str, Any]]) -> DeskNow:
    """A listener's knowledge of a desk after these messages."""
    desks = Desks("livecube")
    for name, body in messages:
        assert desks.take(f"livecube/a/{name}", json.dumps(body).encode()) is not None
    return desks.desks["a"]


@pytest.mark.parametrize(
    ("percent", "shown"),
    [(70.6, 71), (0, 0), (-5, None), (100, 100), (150, 100), ("70", None), (True, None),
     (1e9, None), (None, None)],
)  # fmt: skip
def test_a_charge_is_shown_as_percents_or_not_at_all(percent: object, shown: int | None) -> None:
    assert heard(("battery", {"percent": percent})).battery == shown


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (12.5, 12.5),
        (0, 0.0),
        (-3, None),
        (1e9 - 1, 1e9 - 1),
        (-1e9, None),
        (float("nan"), None),
        ([], None),
    ],
)
def test_figures_are_numbers_or_not_shown(value: object, shown: float | None) -> None:
    assert heard(("figures/average-of-5", {"value": value})).average_s == shown
    assert heard(("figures/session-mean", {"value": value})).mean_s == shown


def test_of_a_solve_eight_stages_are_shown_that_are_as_they_should_be() -> None:
    stages: list[Any] = [7, "x", {"stage": "cross", "seconds": 1.5}, {"stage": "pair"}, None]
    stages += [{"stage": 3, "seconds": 2}] + [{"stage": f"s{n}", "seconds": n} for n in range(9)]
    body = {"solve": "one", "seconds": 20.5, "solved": True, "penalty": "none", "stages": stages}
    desk = heard(("solve", body), ("solve/stages", body))
    assert desk.stages == (("cross", 1.5), ("", 2.0), ("s0", 0.0), ("s1", 1.0))
    assert (desk.last_s, desk.last_solved, desk.penalty) == (20.5, True, "")
    desk = heard(("solve/latest", body | {"result_seconds": 22.5, "penalty": "+2", "solved": 1}))
    assert (desk.last_s, desk.last_solved, desk.penalty) == (22.5, False, "+2")
    assert heard(("solve/stages", body), ("solve/stages", {"stages": {}})).stages == ()
    assert heard(("solve/stages", {"stages": [{"stage": "cross", "seconds": -1}]})).stages == ()
    assert heard(("solve", body | {"seconds": -20.5})).last_s is None


def test_what_a_desk_says_of_itself_is_shown_if_it_can_be() -> None:
    desk = heard(("availability", {"state": "online", "cube": {"name": "My\ncube" + "x" * 99}}))
    assert desk.online is True
    assert desk.cube.startswith("My\N{REPLACEMENT CHARACTER}cubex")
    assert len(desk.cube) < 99
    assert heard(("availability", {"state": "offline"})).online is False
    assert heard(("availability", {"state": 3, "cube": 4})).online is None
    assert [heard(("link", {"up": up})).link for up in (True, False, 1)] == [True, False, None]
    desk = heard(("session", {"state": "solving", "solves": 2.6}))
    assert (desk.session, desk.solves) == ("solving", 3)
    assert heard(("session", {"solves": "no"})).solves == 0


@pytest.mark.parametrize(
    ("online", "link", "session", "shown"),
    [
        (None, True, "solving", "?"), (False, True, "solving", "away"),
        (True, False, "solving", "no cube"), (True, True, "solving", "solving"),
        (True, None, "solving", "solving"), (True, True, "", "here"),
    ],
)  # fmt: skip
def test_a_desk_is_away_without_a_cube_or_in_its_session(
    online: bool | None, link: bool | None, session: str, shown: str
) -> None:
    assert DeskNow("a", online=online, link=link, session=session).presence == shown


def test_the_earliest_message_is_forgotten_when_many_are_known(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("livecube.dashboard.desks._MOST_IDS", 3)
    desks = Desks("livecube")

    def is_new(number: int) -> bool:
        message = json.dumps({"id": number, "percent": 50}).encode()
        return desks.take("livecube/a/battery", message) is not None

    assert [is_new(number) for number in (1, 2, 3, 1, 4, 2, 3, 4, 1)] == [
        True, True, True, False, True, False, False, False, True
    ]  # fmt: skip
    assert desks.repeated == 4

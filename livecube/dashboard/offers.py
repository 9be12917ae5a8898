"""Offers of a coach: a task that a desk is offered over the broker. Pure.

An offer is a task (``formats/task.md``): positions, a lesson, positions for a technique. It comes
on a topic of the coach's own, beside the prefix, so that the broker's access list can say who may
offer. Nothing that arrives is trusted: size, number and form are checked, and only the parsed task
is kept.
"""

from __future__ import annotations

import json
import re
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from livecube.dashboard.topics import clean, desk_part
from livecube.errors import LessonError
from livecube.lessons.tasks import parse_task, part_words, task_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

__all__ = ["MOST_BYTES", "Flood", "Offer", "Waiting", "offer_payload", "offers_topic", "read_offer"]

MOST_BYTES: Final = 48 * 1024
"""Largest offer: a task with a lesson of the usual length has about 10 kB."""
_MOST_CODES: Final = 60
"""Most positions in one offer: checking each takes time that the turns need."""
_TECHNIQUE: Final = re.compile(r"[a-z0-9-]{1,40}")
_LONGEST: Final = 200
_AT_ONCE: Final = 5
_IN_S: Final = 10.0
_MOST_WAITING: Final = 3


@dataclass(frozen=True, slots=True)
class Offer:
    """An offer whose form was checked. Its texts can be shown."""

    coach: str
    """Name of the coach, from the student's configuration."""
    identity: str
    """The task's."""
    title: str
    parts: str
    """The parts in words."""
    text: str
    """The task as a file."""

    @property
    def sentence(self) -> str:
        """What is offered, in one line."""
        told = self.title if self.title == self.parts else f"{self.title}: {self.parts}"
        return f"{self.coach} offers {told}"


def offers_topic(prefix: str, coach: str, desk: str) -> str:
    """The topic of a coach's offers to a desk; ``desk``: as :func:`.desk_part` made it."""
    return f"{prefix}-offers/{desk_part(coach)}/{desk}"


def offer_payload(identity: str, at: str, task: str) -> str:
    """The message of an offer; ``task``: the text of a task's file."""
    body = {"livecube_offer": 1, "id": identity, "at": at, "task": json.loads(task)}
    return json.dumps(body, ensure_ascii=False, separators=(",", ":"))


def read_offer(payload: bytes, coach: str, shipped: Mapping[str, str]) -> Offer | None:
    """The offer of a message; None if it is too large or not in the form of an offer.

    ``shipped``: the texts of the lessons that ship, by name. Whether the techniques in it are known
    is checked when it is taken: that needs rooms that take long to load.
    """
    if len(payload) > MOST_BYTES:
        return None
    try:
        body = json.loads(payload)
        if not isinstance(body, dict) or body.get("livecube_offer") != 1:
            return None
        if _codes_in(body.get("task")) > _MOST_CODES:
            return None
        told = json.dumps(body.get("task"), allow_nan=False)
        task = parse_task(told, "offer", _AnyTechnique(), shipped)
        text = task_text(task)
        text.encode()  # half of a pair of surrogates is no text
    except (ValueError, TypeError, RecursionError, LessonError):
        return None
    parts = "; ".join(map(part_words, task.parts))
    return Offer(coach, task.identity, clean(task.title, _LONGEST), clean(parts, _LONGEST), text)


def _codes_in(task: object) -> int:
    parts = task.get("parts") if isinstance(task, dict) else None
    codes = [
        part.get("codes")
        for part in (parts if isinstance(parts, list) else ())
        if isinstance(part, dict)
    ]
    return sum(len(one) for one in codes if isinstance(one, list))


class _AnyTechnique:
    """Stands for the known techniques: any name in their form."""

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and _TECHNIQUE.fullmatch(name) is not None

    def __iter__(self) -> Iterator[str]:
        return iter(("a name in small letters",))

    def __len__(self) -> int:
        return 1


class Flood:
    """Says whether messages come too often to be a coach's: more than five in ten seconds."""

    def __init__(self) -> None:
        self._came: deque[float] = deque(maxlen=_AT_ONCE)

    def is_too_much(self, now: float) -> bool:
        """Take in a message at ``now`` (seconds)."""
        is_full = len(self._came) == _AT_ONCE and now - self._came[0] < _IN_S
        if not is_full:
            self._came.append(now)
        return is_full


class Waiting:
    """Offers that wait for an answer, the oldest first; at most three."""

    def __init__(self) -> None:
        self._offers: list[Offer] = []
        self._answered: deque[str] = deque(maxlen=100)

    @property
    def first(self) -> Offer | None:
        """The offer that is shown."""
        return self._offers[0] if self._offers else None

    def __len__(self) -> int:
        return len(self._offers)

    def add(self, offer: Offer) -> bool:
        """Add an offer; returns False if it waits already, was answered, or finds no room."""
        known = {one.identity for one in self._offers} | {*self._answered}
        if offer.identity in known or len(self._offers) >= _MOST_WAITING:
            return False
        self._offers.append(offer)
        return True

    def answer(self) -> Offer | None:
        """Take the first offer away; returns it."""
        if not self._offers:
            return None
        offer = self._offers.pop(0)
        self._answered.append(offer.identity)
        return offer

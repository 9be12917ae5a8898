"""The solves of one session, with their present penalties."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from livecube.practice.news import Tally
from livecube.timing.averages import current_averages
from livecube.timing.results import Penalty, penalties_text, result_of

if TYPE_CHECKING:
    from livecube.timing.results import Result

__all__ = ["Attempt", "Attempts"]

_ROUND: Final[tuple[tuple[Penalty, ...], ...]] = ((), (Penalty("+2"),), (Penalty("DNF"),))
"""The penalty gesture steps through these penalties in a circle."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """One finished solve."""

    number: int
    ms: int
    measured: tuple[Penalty, ...]
    corrected: tuple[Penalty, ...] | None = None
    is_discarded: bool = False

    @property
    def penalties(self) -> tuple[Penalty, ...]:
        """The penalties that count: corrected, or else measured."""
        return self.measured if self.corrected is None else self.corrected

    @property
    def result(self) -> Result:
        """The result with the penalties that count."""
        return result_of(self.ms, self.penalties)


class Attempts:
    """All attempts of a session. The last one may still be corrected."""

    def __init__(self) -> None:
        self._all: list[Attempt] = []

    @property
    def last(self) -> Attempt | None:
        """The latest attempt, or None."""
        return self._all[-1] if self._all else None

    def add(self, attempt: Attempt) -> None:
        """Add an attempt that is over."""
        self._all.append(attempt)

    def next_penalty(self) -> Attempt | None:
        """Give the last attempt the next penalty; the measured one clears the correction."""
        last = self.last
        if last is None:
            return None
        names = [penalties_text(penalties) for penalties in _ROUND]
        now = penalties_text(last.penalties)
        following = (names.index(now) + 1) % len(_ROUND) if now in names else 0
        decided = _ROUND[following]
        as_measured = penalties_text(decided) == penalties_text(last.measured)
        self._all[-1] = replace(last, corrected=None if as_measured else decided)
        return self._all[-1]

    def toggle_discarded(self) -> Attempt | None:
        """Throw the last attempt away, or take it back."""
        last = self.last
        if last is None:
            return None
        self._all[-1] = replace(last, is_discarded=not last.is_discarded)
        return self._all[-1]

    @property
    def tally(self) -> Tally:
        """Results, averages and best time of the session so far."""
        results = tuple(one.result for one in self._all if not one.is_discarded)
        times = [result for result in results if not isinstance(result, str)]
        averages = tuple(current_averages(results).items())
        return Tally(results, averages, min(times, default=None))

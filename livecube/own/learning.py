"""A person's hands and eyes together: learned, learned on, and the table that is used. Pure.

The table in use is not replaced by each solve, since the search keeps bounds and a book for its
prices: only once the prices have changed enough to matter. Looking is used as it is learned.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from livecube.hands.own_eyes import learn_eyes
from livecube.hands.own_hands import learn_hands
from livecube.hands.own_state import eyes_from, eyes_state, hands_from, hands_state
from livecube.hands.own_table import own_automaton
from livecube.own.table import LearnedTable
from livecube.own.taking import looks_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.hands.automaton import Automaton
    from livecube.hands.kinship import Kinship
    from livecube.hands.own_eyes import Look, OwnEyes
    from livecube.hands.own_hands import OwnHands
    from livecube.own.taking import Case, Taken

__all__ = [
    "CHANGED",
    "OwnLearned",
    "learn",
    "learned_from",
    "learned_state",
]

CHANGED: Final = 0.03
"""The table is replaced when its prices are off by this share on average, by how often the person
makes each move."""
_ANEW: Final = 1.25
"""After so many times the solves, noise and kinship are learned anew too."""


@dataclass(frozen=True, eq=False)
class OwnLearned:
    """What is known of one person's hands and eyes; never changed."""

    hands: OwnHands
    eyes: OwnEyes
    whole: int
    """Number of solves when everything was learned last; later ones were added one by one."""
    met: Counter[Case] = field(default_factory=Counter)
    """How often each case was met."""
    used: LearnedTable | None = None
    """The table in use; None: the usual one, since it predicts as well."""

    @property
    def solves(self) -> int:
        """Number of solves that it was learned from."""
        return self.hands.solves

    @property
    def is_stale(self) -> bool:
        """Whether so many solves were added that everything should be learned anew."""
        return self.solves > _ANEW * self.whole + 1

    @property
    def keeps(self) -> bool:
        """Whether hands or eyes predict better than the usual ones."""
        return self.hands.verdict.keeps or self.eyes.verdict.keeps

    def after(self, solve: Sequence[Taken]) -> OwnLearned:
        """What is known after one more solve."""
        met = Counter(self.met)
        looks = looks_of(solve, self.hands.kin.usual, self.hands.price_ms, met)
        hands = self.hands.after([one.execution for one in solve])
        return replace(self, hands=hands, eyes=self.eyes.after(looks), met=met).with_table()

    def with_table(self) -> OwnLearned:
        """The same with the table that should be in use now."""
        if not self.keeps:
            return self if self.used is None else replace(self, used=None)
        new = own_automaton(self.hands, self.eyes, self.hands.kin.usual)
        old = None if self.used is None else self.used.automaton
        if old is not None and self._is_near(old, new):
            new = old.priced(old.seconds_ms, old.single_rotation_ms, new.looking)
        return replace(self, used=LearnedTable(new, self.solves))

    def _is_near(self, old: Automaton, new: Automaton) -> bool:
        usual = self.hands.kin.usual
        weight = self.hands.sums.weight[: usual.seconds_ms.size]
        ratio = np.log(new.seconds_ms.ravel() / old.seconds_ms.ravel())
        off = float(weight @ np.abs(ratio)) / max(float(weight.sum()), 1.0)
        # The usual prices have a book that comes with livecube: go back to them at once.
        own_or_not = (new.seconds_ms == usual.seconds_ms).all()
        return off < CHANGED and own_or_not == (old.seconds_ms == usual.seconds_ms).all()


def learn(
    kin: Kinship,
    solves: Sequence[Sequence[Taken]],
    used: LearnedTable | None = None,
    step: Callable[[int], None] = lambda parts: None,
) -> OwnLearned:
    """Learn from all solves of a person, in the order in which they were made.

    ``used``: the table in use until now, if any; ``step`` is called twice, with 1.
    """
    met: Counter[Case] = Counter()
    hands = learn_hands(kin, [[one.execution for one in solve] for solve in solves])
    step(1)
    looks: list[list[Look]] = [looks_of(solve, kin.usual, hands.price_ms, met) for solve in solves]
    eyes = learn_eyes(kin.usual.looking, looks)
    step(1)
    return OwnLearned(hands, eyes, len(solves), met, used).with_table()


# As JSON values.


def learned_state(own: OwnLearned) -> dict[str, Any]:
    """Everything that :func:`learned_from` needs, with the usual prices, to go on learning."""
    return {
        "hands": hands_state(own.hands),
        "eyes": eyes_state(own.eyes),
        "whole": own.whole,
        "met": [[*case, count] for case, count in own.met.items()],
    }


def learned_from(state: dict[str, Any], kin: Kinship, used: LearnedTable | None) -> OwnLearned:
    """What is known again.

    Raises ``ValueError`` if it was learned against other usual prices, ``KeyError`` or
    ``TypeError`` if the values are not those of ``learned_state``.
    """
    return OwnLearned(
        hands_from(state["hands"], kin),
        eyes_from(state["eyes"], kin.usual.looking),
        int(state["whole"]),
        Counter({(a, b): count for a, b, count in state["met"]}),
        used,
    )

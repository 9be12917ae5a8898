"""What each technique is, how to see it, when it pays: two paragraphs in plain words.

Common practice, no published source. Numbers of turns are left to the examples, which are
computed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from livecube.errors import UsageError

__all__ = ["EXPLANATIONS", "SOURCE", "Explanation", "explanation_of"]

SOURCE: Final = "When it pays is common practice, no published source; the example is computed."
"""Said once, behind the paragraphs."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """One technique in words."""

    technique: str
    summary: str
    """One line for a list."""
    seeing: str
    """First paragraph: what it is and how to see it."""
    paying: str
    """Second paragraph: when it pays and when it does not."""


_ALL: Final = (
    Explanation(
        "shortest",
        "the yardstick: no sequence at all is shorter",
        "This is no technique but the yardstick for all of them: the shortest of all sequences "
        "that solve one free slot and keep the cross and the solved slots, with every face "
        "allowed, the cross layer too. Nobody sees these in general during a solve. Many turn "
        "out to be one of the other techniques; the rest turn the cross layer or a solved "
        "slot aside, do something there, and turn it back.",
        "Look at it after the solve, beside what you did: the difference says how much was left "
        "in that position. Learn a sequence only if you can say why it works, since then you "
        "will see it again. Fewer turns are not always less time: one that needs F and B turns "
        "or another grip loses against two turns more that run easily in the hands.",
    ),
    Explanation(
        "plain",
        "the ordinary insertion, without a turn of the cross layer",
        "The ordinary way to solve a slot: bring its corner and its edge together in the upper "
        "layer and insert them as a pair, or leave them apart so that one insertion takes both. "
        "The cross layer is never turned. To see it, find the two pieces: if both are in the "
        "upper layer you are in one of the known cases; if one of them is stuck in a slot, it "
        "comes out on the way, best so that the two are joined by the same turns.",
        "It is always there as long as the cross stands straight, and it is what every other "
        "technique is measured against. Take it without a thought if it is short. It is poor "
        "when one piece is home already, for then the good piece must come out only to go back, "
        "or when a piece sits in a slot the wrong way round; look for a keyhole then, or do "
        "another pair first, which may bring the piece out by itself.",
    ),
    Explanation(
        "made-pair",
        "corner and edge are joined already and only have to go in",
        "The corner and the edge of a slot touch already, outside their slot, and the two "
        "colours that they share match: a small block that only has to be brought to its slot. "
        "No turn may part them. To see it, look along the upper layer for an edge and a corner "
        "side by side that show one colour on top and one colour on the side; these two colours "
        "name the slot.",
        "It nearly always pays, and at once, because any other pair may tear it apart. Finding "
        "takes no time and inserting few turns, while your eyes are free for the next pair. It "
        "pays less when the block stands on the wrong side of its slot, so that it takes a "
        "rotation or an awkward face; and if another insertion leaves it joined, it may wait. "
        "`livecube hints --json` says how many made pairs each sequence keeps.",
    ),
    Explanation(
        "keyhole-corner",
        "the edge is home; its corner goes in through another free slot",
        "The edge of a slot is home and only its corner is missing. Turn the cross layer until "
        "the corner's place lies under another slot that is still free, insert the corner "
        "there, and turn the cross layer back: the free slot is the door through which it went. "
        "To see it, look for an edge that already fits its two centres, and for the corner "
        "with the same two colours in the upper layer; then choose the door that takes the "
        "corner in with one easy trigger.",
        "It pays because a single corner goes in quickly, even with the two turns of the cross "
        "layer, while the plain way takes the good edge out first; and the upper layer hardly "
        "changes, so that what you saw for the next pair stays. It pays less when the cross "
        "colour of the corner faces up: that corner takes several turns more, and it is better to "
        "do another pair first. Without another free slot, so for the last pair, there is no "
        "door.",
    ),
    Explanation(
        "keyhole-edge",
        "the corner is home; its edge goes in over a free corner's place",
        "The corner of a slot is home and only its edge is missing. Turn the cross layer until "
        "the place of another corner that is not solved yet lies under the slot, insert the "
        "edge there without caring for what stands below it, and turn the cross layer back, "
        "which brings the good corner under its edge. To see it, look for a cross-coloured "
        "corner that fits the two cross edges beside it, and for its edge in the upper layer.",
        "An edge alone goes in by a short trigger from one of the two sides of its slot, and "
        "the good corner stays; the very shortest plain sequence is often no longer, but harder "
        "to find. Which side it is, the colour on top of the edge says: it goes in from the "
        "face of the other colour. The right and left sides are good; if it takes the front or "
        "the back, a wide turn of the upper two layers in place of the cross-layer turn may "
        "save the rotation. It needs another slot whose corner is not solved.",
    ),
    Explanation(
        "keyhole-flip",
        "the corner is home; its edge stands in the slot flipped",
        "Corner and edge are both in their slot, the corner right and the edge flipped. As with "
        "the keyhole edge, the cross layer is turned so that an unsolved corner's place lies "
        "under the slot; there the edge is taken out and put back the other way, and the cross "
        "layer is turned back. To see it, look at a slot whose corner fits the cross while the "
        "edge above it shows its two colours exchanged.",
        "A flipped edge is long in every way. Against the very shortest plain sequence the "
        "keyhole hardly ever wins a turn; what speaks for it is that it can be found on the "
        "spot: an edge out, an edge in, and the good corner left alone. If another pair can be "
        "done first so that it takes the flipped edge out on its way, that is often better, "
        "because what is left is a keyhole edge. For the last pair there is no other place to "
        "turn under the slot, and only the plain way remains.",
    ),
    Explanation(
        "pseudo-pair",
        "a corner home here, an edge there: one insertion solves both",
        "One slot has its corner home but not its edge, and another has its edge home but not "
        "its corner. The missing two belong to different slots. Turn the cross layer so that "
        "the place of the missing corner lies under the slot of the missing edge, insert both "
        "there as if they were a pair, and turn the cross layer back: two slots are solved by "
        "one insertion. To see it, notice two half-done slots, one of each kind, and then treat "
        "the two strangers as a pair whose colours do not match.",
        "Two pairs for about the price of one, where the plain way would take both good pieces "
        "out again. Half-done slots like these seldom come by chance; fast solvers make them on "
        "purpose, by single corners and edges put in early. The price is in the head: the pair "
        "has no matching colours to guide you, so that it must be planned before the first "
        "turn. While ordinary pairs still make you stop and look, practise those first.",
    ),
    Explanation(
        "x-cross",
        "in inspection: the cross and one pair together",
        "In inspection, before the first turn, the cross is planned so that one pair comes with "
        "it: after the last turn of the cross a slot is solved too. To see one, plan the cross "
        "first and then ask what becomes of a corner and edge that stand near each other: often "
        "another order of the same turns, or one turn more, keeps them together or joins them. "
        "A pair that is made already is the best start.",
        "It saves a pair for a few turns more than the cross, and the search for it happens "
        "before the clock starts. It pays if you can still follow with closed eyes where its "
        "pieces go; if not, the stop after the cross eats up what was saved. A cross of few "
        "turns leaves room for it; if the cross alone is long already, plan the first pair "
        "behind it and no more. Here every slot is searched, with sequences one turn longer "
        "than the shortest too.",
    ),
    Explanation(
        "pseudo-x-cross",
        "in inspection: the cross with a corner and another slot's edge",
        "In inspection the cross is planned with a corner of one slot and an edge of another, "
        "and the cross layer may stand turned aside at the end. This sets up a pseudo pair: the "
        "other edge and the other corner then go in with one insertion, and a turn of the cross "
        "layer puts everything straight. To see one, look for an X-cross and let go of the "
        "demand that corner and edge belong together: any corner that lands beside the right "
        "cross edges and any edge that lands between its centres will do.",
        "There are many more of these than X-crosses, so that a short one is there more often, "
        "and two slots are solved at the end of it. But two steps have to be planned, the "
        "second without matching colours to hold on to, and a mistake leaves two half-done "
        "slots. It is for fast solvers who see pseudo pairs without a stop; compare the sum of "
        "both parts with the cross and two plain pairs, and take it only if it is clearly less.",
    ),
)

EXPLANATIONS: Final = {one.technique: one for one in _ALL}
"""By the technique's name, in the order in which they are listed."""


def explanation_of(technique: str) -> Explanation:
    """The explanation of a technique.

    Raises :class:`~livecube.errors.UsageError`, which names the known ones.
    """
    try:
        return EXPLANATIONS[technique]
    except KeyError:
        known = ", ".join(EXPLANATIONS)
        raise UsageError(f"no technique is called {technique!r}; known: {known}") from None

"""How a solver solves: probabilities, speeds, pauses. Common practice, no published source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = [
    "LEFT_HANDED",
    "OTHERWISE",
    "RIGHT_HANDED",
    "SHORT_SIGHTED",
    "UNPLANNED",
    "GripCosts",
    "Habits",
]


@dataclass(frozen=True, slots=True)
class GripCosts:
    """Costs in a grip, against 1 for a turn of R, L or U."""

    rotation: float = 1.6
    """Of y or y'."""
    front: float = 1.7
    """Of a turn of F."""
    back: float = 2.6
    """Of a turn of B."""


_USUAL_GRIP: Final = GripCosts()


@dataclass(frozen=True, slots=True)
class Habits:
    """One solver's habits; every default is common practice, no published source.

    Numbers named ``p_…`` are probabilities from 0 to 1.
    """

    name: str = "right-handed"
    left_handed: bool = False
    """Last-layer sequences are known as their mirror images."""
    backwards: bool = False
    """Other last-layer sequences are known than usual: the inverses of the usual ones, wherever one
    of them settles the case."""
    grip_ahead: int = 99
    """The holding is the cheapest one for this number of turns that belong together. 0: the first
    side face is brought to either hand; later turns do not matter."""
    # Hands, seconds.
    turn_s: float = 0.16
    """Median time of an easy quarter turn in a running sequence."""
    turn_spread: float = 0.28
    """Standard deviation of the logarithm of every time."""
    rotation_s: float = 0.22
    """Median time of a rotation of the whole cube."""
    half_factor: float = 1.35
    awkward_factor: float = 1.45
    """Factor for turns of F, B and D, which take a finger out of its place."""
    slice_gap_s: float = 0.025
    """Longest time between the two reports of one slice quarter."""
    scramble_turn_s: float = 0.55
    # Eyes, seconds.
    inspection_s: float = 9.0
    pair_pause_s: float = 0.45
    orient_pause_s: float = 0.35
    permute_pause_s: float = 0.45
    auf_pause_s: float = 0.12
    mistake_pause_s: float = 0.6
    rest_s: float = 20.0
    """Between the end of a solve and the next scramble."""
    # Grip.
    costs: GripCosts = _USUAL_GRIP
    p_wide_for_layer: float = 0.12
    """A cross-layer turn is made by the upper two layers and a change of holding."""
    p_rotate_for_case: float = 0.35
    """Before a last-layer sequence the cube is rotated instead of the layer turned."""
    # Reports.
    p_half_as_quarters: float = 0.12
    """A half turn is reported as two quarter turns."""
    # Choices.
    p_cross_longer: float = 0.3
    """The cross is one turn longer than the shortest."""
    p_look_for_x_cross: float = 0.1
    p_offset_cross: float = 0.04
    p_keyhole: float = 0.5
    """A ready keyhole (corner or edge already in) is used as a keyhole."""
    p_set_up_keyhole: float = 0.06
    p_set_up_pseudo: float = 0.03
    p_chain: float = 0.03
    p_longer_pair: float = 0.35
    """An insertion may be up to three turns longer than the shortest."""
    taste: int = 0
    """Seed for the favourites among the usual sequences for a pair."""
    p_easiest_pair: float = 0.75
    """The shortest free pair is taken, not a random one."""
    p_one_look_orient: float = 0.8
    p_one_look_permute: float = 0.9
    p_regrip_in_cross: float = 0.25
    """The cross is done in two parts, the cube rotated between them if that helps."""
    p_hesitate: float = 0.01
    """At each move: a pause in the middle of a stage."""
    # Mistakes.
    p_wrong_turn: float = 0.004
    """At each turn: a wrong turn, noticed and undone."""
    p_out_and_back: float = 0.02
    """At each pair: a solved one is taken out and put back."""
    p_lose_pair: float = 0.012
    """At each pair: a solved one is lost while this one goes in."""


RIGHT_HANDED: Final = Habits()
"""A right-handed solver of about 20 s; the default."""

UNPLANNED: Final = Habits(name="right-handed, plans no grip", grip_ahead=0)
"""The same solver with another way to choose a grip."""

LEFT_HANDED: Final = Habits(
    name="left-handed",
    taste=1,
    left_handed=True,
    costs=GripCosts(rotation=0.7, front=2.4, back=4.0),
    p_wide_for_layer=0.05,
    p_rotate_for_case=0.7,
    turn_s=0.19,
    pair_pause_s=0.6,
    p_one_look_orient=0.3,
    p_one_look_permute=0.6,
)
"""A left-handed two-look solver who rotates much."""

OTHERWISE: Final = Habits(
    name="otherwise",
    taste=2,
    left_handed=True,
    backwards=True,
    grip_ahead=0,
    p_wide_for_layer=0.01,
    p_rotate_for_case=0.5,
    turn_s=0.22,
    rotation_s=0.3,
    pair_pause_s=0.5,
    p_longer_pair=0.6,
    p_one_look_orient=0.5,
    p_one_look_permute=0.5,
)
"""A left-handed two-look solver who rotates much, plans no grip and knows other sequences: a test
for habits that were learned from others."""

SHORT_SIGHTED: Final = Habits(
    name="short-sighted",
    taste=3,
    backwards=True,
    grip_ahead=3,
    costs=GripCosts(rotation=1.0, front=2.2),
    p_wide_for_layer=0.2,
    p_rotate_for_case=0.3,
    turn_s=0.2,
    p_longer_pair=0.5,
    p_one_look_orient=0.6,
    p_one_look_permute=0.6,
)
"""A right-handed solver who looks three turns ahead for a grip and knows other sequences: another
such test."""

"""Sequences of the last layer that people know, beside those of the virtual solver.

Common practice, from memory, no published source. All are written with the cross down; the effect
of each is computed before it is used.
"""

from __future__ import annotations

from typing import Final

from livecube.virtual import sequences

__all__ = ["ORIENT", "PERMUTE"]

ORIENT: Final = (
    sequences.ORIENT
    + """
r U r' U2 R U2 R' U2 r U' r'
M R U R' U R U2 R' U M'
r' R2 U R' U r U2 r' U M'
M U' r U2 r' U' R U' R' M'
l' U2 L U L' U l
l' U' L U' L' U2 l
r' R2 U R' U R U2 R' U M'
F U R U2 R' U' R U2 R' U' F'
r U' r' U' r U r' F' U F
l' U' l L' U' L U l' U l
R U R' U R U2 R' F R U R' U' F'
r U R' U R U2 r' r' U' R U' R' U2 r
r' R U R U R' U' r R2 F R F'
r U R' U' M2 U R U' R' U' M'
R U R' U R U' R' U R U2 R'
F R U R' U' R U R' U' R U R' U' F'
f R U R' U' f' F R U R' U' F'
R' U2 R2 U R2 U R2 U2 R'
R2 D R' U2 R D' R' U2 R'
R' F R B' R' F' R B
R' F' r U R U' r' F
R' U' R U' R' U2 R
L' U' L U' L' U2 L
L U L' U L U2 L'
M' U M U2 M' U M
M' U' M U2 M' U' M
r2 D' r U r' D r2 U' r' U' r
R U B' U' R' U R B R'
L U F' U' L' U L F L'
F R U' R' U' R U R' F'
R U R' U' B' R' F R F' B
f R U R' U' f' R U R' U R U2 R'
R U R' F' R U R' U' R' F R U' R' F R F'
R U R' F' U' F U R U2 R'
R' U' F' U F R
R' U' R' F R F' R' F R F' U R
R B' R2 F R2 B R2 F' R
R' F R2 B' R2 F' R2 B R'
F U R U' R' U R U' R' F'
R' F' U' F U' R U R' U R
l' U2 L U L' U' L U L' U l
r U2 R' U' R U R' U' R U' r'
R' F R U R U' R2 F' R2 U' R' U R U R'
r U r' U R U' R' U R U' R' r U' r'
R U R' U' r R' U R U' r'
R' F R F' U' F' U F
F' U' L' U L F
"""
)
"""Orientation, in one look or two, one a line."""

PERMUTE: Final = (
    sequences.PERMUTE
    + """
l' U R' D2 R U' R' D2 R2 x'
r U' L D2 L' U L D2 L2 x
x' L' U L' D2 L U' L' D2 L2 x
R' F R' B2 R F' R' B2 R2
R2 B2 R F R' B2 R F' R
R2 u R' U R' U' R u' R2 y' R' U R
F' U' F R2 u R' U R U' R u' R2
R2 u' R U' R U R' u R2 y R U' R'
R U R' y' R2 u' R U' R' U R' u R2
M2 U' M2 U2 M2 U' M2
L' U' L F L' U' L U L F' L2 U L
R U2 R' U' R U2 L' U R' U' L
L U' R U2 L' U R' L U' R U2 L' U R'
R' U L' U2 R U' L R' U L' U2 R U' L
r' D' F r U' r' F' D r2 U r' U' r' F r F'
R U R' F' R U2 R' U2 R' F R U R U2 R'
R' U2 R U2 R' F R U R' U' R' F' R2
R2 U' R' U' R U R U R U' R
R' U R' U' R' U' R' U R U R2
R' U R U' R' f' U' R U2 R' U' R U' R' f R
R U' R U R' D R D' R U' D R2 U R2 D' R2
M2 U M2 U M' U2 M2 U2 M'
M' U' M2 U' M2 U' M' U2 M2
F R U' R' U R U R2 F' R U R U' R'
"""
)
"""Permutation of an oriented last layer, in one look or two, one a line."""

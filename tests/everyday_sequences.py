"""The sequences that the everyday solvers of ``everyday_solver.py`` choose from.

Common practice, from memory, no published source. They were written down for these solvers, before
the list that livecube reads with and without looking at any other. People use the same sequences,
so many stand in several lists.
"""

from __future__ import annotations

from typing import Final

__all__ = ["ORIENT", "PERMUTE", "SLOT"]

SLOT: Final = """
R U R'
F' U' F
U R U' R'
U' F' U F
R' F R F'
F R' F' R
U' R U R' U' R U2 R'
U' R U R' U2 R U' R'
U' R U2 R' U' R U2 R'
U' R U2 R' U2 R U' R'
U2 R U R' U R U' R'
R U' R' U2 R U R'
U R U2 R' U R U' R'
R U2 R' U' R U R'
U' R U' R' U R U R'
U' R U R' U R U R'
U R U' R' U' R U R' U R U' R'
U' R U' R' U2 R U' R'
U' R U' R' U' R U2 R'
U' R U R' U F' U' F
U' R U' R' U F' U' F
U' R U2 R' U F' U' F
R U' R' U2 F' U' F
R U R' U' R U R' U' R U R'
U R U' R' U R U' R' U R U' R'
R U' R' U F' U F
R U' R' U' F' U F
U R U' R' U' F' U F
U' F' U F U R U' R'
R U R' U2 R U R' U' R U R'
R U R' U2 R U' R' U R U' R'
U R U' R' U' R U' R' U R U' R'
U2 R2 U2 R' U' R U' R2
R U' R' U R U' R'
R U R' U' R U R'
R U R' F R' F' R
U R U' R' F R' F' R
R' F R F' R U' R' U R U' R'
R' F R F' U R U' R'
R U' R' U' R U R' U2 R U' R'
R U R' U' R U2 R' U' R U R'
R U' R' U R U2 R' U R U' R'
R U' R' U F' U' F U' F' U' F
R U R' U' R U' R' U2 F' U' F
R U' R' U' R U' R' U F' U' F
R U' R' r U' r' U2 r U r'
R U2 R U R' U R U2 R2
R U R' U2 R U2 R' U F' U' F
U2 R' F R F' U2 R U R'
U F' U2 F U' R U R'
U F' U F U' F' U' F
F U R U' R' F' R U' R'
"""
"""Insertions at the front right, cross down, one a line."""

ORIENT: Final = """
R U2 R2 F R F' U2 R' F R F'
r U r' U2 R U2 R' U2 r U' r'
F R U R' U' F' f R U R' U' f'
f R U R' U' f' U' F R U R' U' F'
r' R2 U R' U r U2 r' U M'
f R U R' U' f' U F R U R' U' F'
M U' r U2 r' U' R U' R' M'
r' U2 R U R' U r
l' U2 L U L' U l
r U2 R' U' R U' r'
r U R' U R U2 r'
l' U' L U' L' U2 l
R U R' U' R' F R2 U R' U' F'
R U R' U R' F R F' R U2 R'
r' R2 U R' U R U2 R' U M'
r U R' U R' F R F' R U2 r'
M' R' U' R U' R' U2 R U' M
F R U R' U' F' U F R U R' U' F'
F U R U' R2 F' R U R U' R'
r U' r' U' r U r' F' U F
R' F R U R' F' R F U' F'
l' U' l L' U' L U l' U l
r' U' r R' U' R U r' U r
r U r' R U R' U' r U' r'
R U R' U R' F R F' U2 R' F R F'
F R' F' R2 r' U R U' R' U' M'
r U R' U R U2 r2 U' R U' R' U2 r
M U R U R' U' M' R' F R F'
r' R U R U R' U' r R2 F R F'
r U R' U' M2 U R U' R' U' M'
R U R' U R U' R' U R U2 R'
R U2 R' U' R U R' U' R U' R'
F R U R' U' R U R' U' R U R' U' F'
R U2 R2 U' R2 U' R2 U2 R
R2 D' R U2 R' D R U2 R
R2 D R' U2 R D' R' U2 R'
r U R' U' r' F R F'
R' F R B' R' F' R B
F' r U R' U' r' F R
R' U' R U' R' U2 R
R U2 R' U' R U' R'
R U R' U R U2 R'
L' U' L U' L' U2 L
r U R' U' M U R U' R'
M' U M U2 M' U M
r2 D' r U r' D r2 U' r' U' r
R U R' U' R U' R' F' U' F R U R'
F U R U2 R' U' R U2 R' U' F'
R' U' F U R U' R' F' R
R U B' U' R' U R B R'
L U F' U' L' U L F L'
R U R' U' R' F R F'
F R U R' U' F'
R U R2 U' R' F R U R U' F'
R U R' U' B' R' F R F' B
R U2 R2 F R F' R U2 R'
f R U R' U' f' R U R' U R U2 R'
L' U' L U' L' U L U L F' L' F
R U R' F' R U R' U' R' F R U' R' F R F'
F R U' R' U' R U R' F'
F R' F' R U R U' R'
R U R' U R U' R' U' R' F R F'
L F' L' U' L U F U' L'
R U R' F' U' F U R U2 R'
R' F R U R' U' F' U R
R U R' U R U2 R' F R U R' U' F'
R' U' R U' R' U2 R F R U R' U' F'
f' L' U' L U f
R' U' F' U F R
f R U R' U' f'
F U R U' R' F'
R' U' R' F R F' U R
F' L' U' L U L' U' L U F
R' U' R' F R F' R' F R F' U R
F R U R' U' R U R' U' F'
r U' r2 U r2 U r2 U' r
R B' R2 F R2 B R2 F' R
r' U r2 U' r2 U' r2 U r'
R' F R2 B' R2 F' R2 B R'
f R U R' U' R U R' U' f'
F U R U' R' U R U' R' F'
R U R' U R U' B U' B' R'
R' F' U' F U' R U R' U R
l' U2 L U L' U' L U L' U l
r' U' R U' R' U R U' R' U2 r
r U2 R' U' R U R' U' R U' r'
r U R' U R U' R' U R U2 r'
R U2 R2 U' R U' R' U2 F R F'
R' F R U R U' R2 F' R2 U' R' U R U R'
r U r' U R U' R' U R U' R' r U' r'
r' U' r U' R' U R U' R' U R r' U r
R U R' U' M' U R U' r'
"""
"""Orientation of the last layer, in one look or two, one a line."""

PERMUTE: Final = """
x R' U R' D2 R U' R' D2 R2 x'
l' U R' D2 R U' R' D2 R2 x'
x R2 D2 R U R' D2 R U' R x'
x' L' U L' D2 L U' L' D2 L2 x
x' R U' R' D R U R' D' R U R' D R U' R' D' x
R2 U R' U' y R U R' U' R U R' U' R U R' y' R U' R2
R' U' F' R U R' U' R' F R2 U' R' U' R U R' U R
R2 U R' U R' U' R U' R2 D U' R' U R D'
R2 u R' U R' U' R u' R2 y' R' U R
R' U' R U D' R2 U R' U R U' R U' R2 D
F' U' F R2 u R' U R U' R u' R2
R2 U' R U' R U R' U R2 D' U R U' R' D
R2 u' R U' R U R' u R2 y R U' R'
R U R' U' D R2 U' R U' R' U R' U R2 D'
R U R' y' R2 u' R U' R' U R' u R2
M2 U M2 U2 M2 U M2
M2 U' M2 U2 M2 U' M2
x R2 F R F' R U2 r' U r U2 x'
L' U' L F L' U' L U L F' L2 U L
R' U L' U2 R U' R' U2 R L
R U R' F' R U R' U' R' F R2 U' R'
R U2 R' U' R U2 L' U R' U' L
R U R' U R U R' F' R U R' U' R' F R2 U' R' U2 R U' R'
L U' R U2 L' U R' L U' R U2 L' U R'
R' U R U' R' F' U' F R U R' F R' F' R U' R
r' D' F r U' r' F' D r2 U r' U' r' F r F'
R U' R' U' R U R D R' U' R D' R' U2 R'
R U R' F' R U2 R' U2 R' F R U R U2 R'
R' U2 R U2 R' F R U R' U' R' F' R2
R2 F R U R U' R' F' R U2 R' U2 R
R U R' U' R' F R2 U' R' U' R U R' F'
M2 U M U2 M' U M2
R U' R U R U R U' R' U' R2
R2 U' R' U' R U R U R U' R
M2 U' M U2 M' U' M2
R2 U R U R' U' R' U' R' U R'
R' U R' U' R' U' R' U R U R2
R' U R' U' y R' F' R2 U' R' U R' F R F
R' U R U' R' f' U' R U2 R' U' R U' R' f R
R U' R U R' D R D' R U' D R2 U R2 D' R2
F R U' R' U' R U R' F' R U R' U' R' F R F'
M' U M2 U M2 U M' U2 M2
M2 U M2 U M' U2 M2 U2 M'
"""
"""Permutation of an oriented last layer, in one look or two, one a line."""

"""Letters, figures and signs so large that they are read from two metres away."""

from __future__ import annotations

from typing import Final

__all__ = ["HEIGHT", "large"]

HEIGHT: Final = 5
"""Lines of a large text."""
_BLOCK: Final = "█"

_DRAWN: Final = """
U #...# #...# #...# #...# .###.
L #.... #.... #.... #.... #####
F ##### #.... ####. #.... #....
R ####. #...# ####. #..#. #...#
B ####. #...# ####. #...# ####.
D ####. #...# #...# #...# ####.
N #...# ##..# #.#.# #..## #...#
S .#### #.... .###. ....# ####.
0 .###. #...# #...# #...# .###.
1 ..#.. .##.. ..#.. ..#.. .###.
2 ####. ....# .###. #.... #####
3 ####. ....# .###. ....# ####.
4 #..#. #..#. ##### ...#. ...#.
5 ##### #.... ####. ....# ####.
6 .###. #.... ####. #...# .###.
7 ##### ....# ...#. ..#.. ..#..
8 .###. #...# .###. #...# .###.
9 .###. #...# .#### ....# .###.
' ## ## .. .. ..
. . . . . #
: . # . # .
+ ..... ..#.. ##### ..#.. .....
"""

_GLYPHS: Final = {
    line[0]: [row.replace("#", _BLOCK).replace(".", " ") for row in line[2:].split()]
    for line in _DRAWN.strip().splitlines()
} | {" ": ["   "] * HEIGHT}


def large(text: str) -> list[str]:
    """A text as :data:`HEIGHT` lines; what is not known is left out."""
    glyphs = [_GLYPHS[letter] for letter in text if letter in _GLYPHS]
    return [" ".join(glyph[row] for glyph in glyphs) for row in range(HEIGHT)]

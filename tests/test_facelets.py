"""Facelets read back, the laws that they can break, and the names of pieces and holdings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecube.cube.geometry import (
    CORNERS,
    EDGES,
    FACES,
    HOME,
    NEXT_STICKER,
    OPPOSITE,
    PIECE_AT,
    PIECES,
    ROTATIONS,
    TWIST_AT,
    Array,
    parse_piece,
    piece_faces,
    piece_name,
)
from livecube.cube.holding import COLOURS, HOLDINGS, SCRAMBLE_HOLDING, Holding, parse_colour
from livecube.cube.notation import check_position, facelets_text, parse_facelets, parse_turns
from livecube.cube.position import SOLVED, apply_turns, stickers
from livecube.errors import PositionError
from livecube.views.picture import Picture, held_picture

if TYPE_CHECKING:
    from collections.abc import Sequence

SOLVED_TEXT: Final = "".join(9 * face for face in FACES)
legal = st.lists(st.integers(0, 17), max_size=40).map(lambda turns: apply_turns(SOLVED, turns))
corners, edges = st.sampled_from(CORNERS), st.sampled_from(EDGES)


def refused(facelets: Sequence[str]) -> PositionError:
    with pytest.raises(PositionError) as caught:
        parse_facelets("".join(facelets))
    return caught.value


def law_broken_by(position: Array) -> PositionError:
    """The error for a position; its facelets must give the same error."""
    with pytest.raises(PositionError) as caught:
        check_position(position)
    shown = refused(facelets_text(position))
    assert (shown.law, str(shown)) == (caught.value.law, str(caught.value))
    return shown


def with_(position: Array, changes: dict[int, int]) -> Array:
    """The position with the reference stickers of some pieces moved."""
    result = position.copy()
    for piece, place in changes.items():
        result[piece] = place
    return result


def stickers_of(piece: int) -> list[int]:
    """Home facelets of a piece, clockwise from its reference sticker."""
    found = [int(HOME[piece])]
    while (following := int(NEXT_STICKER[found[-1]])) != found[0]:
        found.append(following)
    return found


# There and back.


def test_facelets_of_known_positions() -> None:
    assert facelets_text(SOLVED) == SOLVED_TEXT
    # After R (white up, green front): the right columns of U, F, D, B have moved on.
    assert facelets_text(apply_turns(SOLVED, parse_turns("R"))) == (
        "UUFUUFUUFLLLLLLLLLFFDFFDFFDRRRRRRRRRUBBUBBUBBDDBDDBDDB"
    )
    assert facelets_text(apply_turns(SOLVED, parse_turns("U"))) == (
        "UUUUUUUUUFFFLLLLLLRRRFFFFFFBBBRRRRRRLLLBBBBBBDDDDDDDDD"
    )
    assert facelets_text(apply_turns(SOLVED, parse_turns("F"))) == (
        "UUUUUULLLLLDLLDLLDFFFFFFFFFURRURRURRBBBBBBBBBRRRDDDDDD"
    )


@given(legal)
def test_facelets_read_back(position: Array) -> None:
    text = facelets_text(position)
    assert bytes(parse_facelets(text).tolist()) == bytes(position.tolist())
    for home, place in enumerate(stickers(position).tolist()):
        assert text[place] == SOLVED_TEXT[home]


# Laws.


@given(legal, corners, st.sampled_from([(1, "clockwise"), (2, "counter-clockwise")]))
def test_twisted_corner(position: Array, corner: int, twist: tuple[int, str]) -> None:
    times, way = twist
    place = int(position[corner])
    for _ in range(times):
        place = int(NEXT_STICKER[place])
    error = law_broken_by(with_(position, {corner: place}))
    assert error.law == "twisted corner"
    assert f"twisted {way}:" in str(error)


@given(legal, edges)
def test_flipped_edge(position: Array, edge: int) -> None:
    flipped = with_(position, {edge: int(NEXT_STICKER[position[edge]])})
    assert law_broken_by(flipped).law == "flipped edge"


@given(legal, st.data())
def test_swapped_pieces(position: Array, data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from([CORNERS, EDGES]))
    one, other = data.draw(st.lists(st.sampled_from(kind), min_size=2, max_size=2, unique=True))
    exchanged = with_(position, {one: position[other], other: position[one]})
    assert law_broken_by(exchanged).law == "swapped pieces"


@given(legal, st.data())
def test_what_turns_can_undo_is_no_law_broken(position: Array, data: st.DataObject) -> None:
    a, b = data.draw(st.lists(corners, min_size=2, max_size=2, unique=True))
    c, d = data.draw(st.lists(edges, min_size=2, max_size=2, unique=True))
    spun = NEXT_STICKER[position]
    check_position(with_(position, {a: spun[a], b: NEXT_STICKER[spun[b]]}))
    check_position(with_(position, {c: spun[c], d: spun[d]}))
    swap = {a: position[b], b: position[a], c: position[d], d: position[c]}
    check_position(with_(position, swap))


@given(legal)
def test_edge_shown_twice(position: Array) -> None:
    # UF painted as UR and DR as DF: every colour still counts nine.
    text = painted(position, {"UF": "UR", "DR": "DF"})
    message = str(refused(text))
    assert "piece UR is shown twice" in message or "piece DF is shown twice" in message
    assert refused(text).law == "piece"


@given(legal)
def test_corner_shown_twice(position: Array) -> None:
    text = painted(position, {"URF": "UBR", "DRB": "DFR"})
    message = str(refused(text))
    assert "piece UBR is shown twice" in message or "piece DFR is shown twice" in message
    assert refused(text).law == "piece"


@given(legal, st.sampled_from([{"UF": "UU", "UB": "FB"}, {"UF": "UD", "DB": "FB"}]))
def test_edge_that_no_cube_has(position: Array, paint: dict[str, str]) -> None:
    error = refused(painted(position, paint))
    assert error.law == "piece"
    assert "no piece has the colours" in str(error)


@given(legal, corners)
def test_mirrored_corner(position: Array, corner: int) -> None:
    text = list(facelets_text(position))
    one, other = stickers(position)[stickers_of(corner)[1:]].tolist()
    text[one], text[other] = text[other], text[one]
    error = refused(text)
    assert error.law == "piece"
    place = piece_name(int(PIECE_AT[position[corner]]))
    assert "no piece has the colours" in str(error)
    assert str(error).endswith(f"shown at {place}")


def painted(position: Array, paint: dict[str, str]) -> str:
    """Facelets with some pieces painted: each by its faces, clockwise, and their new letters."""
    text, places = list(facelets_text(position)), stickers(position)
    for name, letters in paint.items():
        for sticker in stickers_of(parse_piece(name)):
            text[places[sticker]] = letters[name.index(FACES[sticker // 9])]
    return "".join(text)


@given(legal, st.integers(0, 53), st.sampled_from("ULFRBD"))
def test_colour_counts_and_centres(position: Array, spot: int, letter: str) -> None:
    text = list(facelets_text(position))
    before, text[spot] = text[spot], letter
    if before == letter:
        assert bytes(parse_facelets("".join(text)).tolist()) == bytes(position.tolist())
    elif spot % 9 == 4:
        assert refused(text).law == "centre"
        assert f"centre of face {before} is '{letter}'" in str(refused(text))
    else:
        assert refused(text).law == "colour count"
        assert " 8 times" in str(refused(text)) or " 10 times" in str(refused(text))


@given(st.integers(1, 23), legal)
def test_facelets_in_another_holding_break_the_centre_law(rotation: int, position: Array) -> None:
    text = facelets_text(position)
    turned = [text[place] for place in ROTATIONS[rotation].tolist()]
    assert refused(turned).law == "centre"


@given(legal, st.integers(0, 53), st.characters(exclude_characters=FACES, codec="utf-8"))
def test_letters_and_length(position: Array, spot: int, letter: str) -> None:
    text = facelets_text(position)
    error = refused(text[:spot] + letter + text[spot + 1 :])
    assert error.law == "letter"
    assert str(error).startswith(f"facelet {spot + 1} is {letter!r}")
    assert refused(text[:spot]).law == refused(text + text[spot]).law == "length"
    assert f"there are {spot} facelets" in str(refused(text[:spot]))


# Names.


def test_piece_names() -> None:
    for piece in range(20):
        assert parse_piece(piece_name(piece)) == piece
        assert parse_piece(piece_name(piece)[::-1]) == piece
        shown = [FACES[facelet // 9] for facelet in stickers_of(piece)]
        assert piece_faces(piece) == frozenset(map(FACES.index, shown))
        assert sorted(shown) == sorted(piece_name(piece))
        assert shown[0] in "UD" or (shown[0] in "FB" and not set(shown) & set("UD"))
        assert [TWIST_AT[facelet] for facelet in stickers_of(piece)] == list(range(len(shown)))
    # From outside the corner, from its top sticker clockwise: up, right, front.
    assert [FACES[facelet // 9] for facelet in stickers_of(parse_piece("UFR"))] == list("URF")
    assert len(set(PIECES)) == 20
    for wrong in ("", "U", "UD", "UFB", "UUF", "uf", "UFRB"):
        with pytest.raises(ValueError, match="no piece"):
            parse_piece(wrong)


def test_colours() -> None:
    assert [parse_colour(name) for name in COLOURS] == list(range(6))
    assert parse_colour("White") == FACES.index("U")
    with pytest.raises(ValueError, match="not a colour"):
        parse_colour("purple")


def test_the_24_holdings() -> None:
    assert len(set(HOLDINGS)) == 24
    for holding in HOLDINGS:
        up, front = parse_colour(holding.up), parse_colour(holding.front)
        assert Holding.of(up, front) == holding
        assert [holding.hand_face(face) for face in holding.faces] == list(range(6))
        for hand in range(6):
            assert holding.faces[OPPOSITE[hand]] == OPPOSITE[holding.faces[hand]]
    for up in range(6):
        for front in (up, OPPOSITE[up]):
            with pytest.raises(ValueError, match="cannot be held"):
                Holding.of(up, front)


@given(st.lists(st.integers(0, 17), max_size=25))
def test_both_pictures_of_a_position_show_its_facelets(turns: list[int]) -> None:
    position = apply_turns(SOLVED, turns)
    letters = facelets_text(position)
    drawn = ["".join(segment.text for segment in line) for line in Picture(bytes(position)).lines]
    assert drawn == [line.plain for line in held_picture(position, SCRAMBLE_HOLDING)]
    faces = [letters[at : at + 9] for at in range(0, 54, 9)]
    up, left, front = (faces[FACES.index(face)] for face in "ULF")
    initials = dict(zip(FACES, (colour[0].upper() for colour in COLOURS), strict=True))
    assert [line.split() for line in drawn[:3]] == [
        [initials[letter] for letter in up[3 * n : 3 * n + 3]] for n in range(3)
    ]
    assert [line.split()[:6] for line in drawn[3:6]] == [
        [initials[x] for x in left[3 * n : 3 * n + 3] + front[3 * n : 3 * n + 3]] for n in range(3)
    ]

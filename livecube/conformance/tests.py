"""The tests for a decoder, put together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.conformance.byte_tests import DecoderTests
from livecube.conformance.cube_tests import CubeTests
from livecube.cube.position import parse_turn

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.decoding import Decoder
    from livecube.virtual.cube import SimulatedCubeFactory

__all__ = ["decoder_tests"]


def decoder_tests(
    decoder: Callable[[], Decoder],
    cube: SimulatedCubeFactory | None = None,
    *,
    packets: Sequence[bytes | tuple[bytes, str | Sequence[int]]] = (),
) -> type[DecoderTests]:
    """Tests for a decoder, as a class that pytest finds under the name that you give it.

    ``cube`` is the cube's side; then the decoder is tried in a talk, over good and bad radio.
    Without it ``packets`` must be some good ones (of the first characteristic in ``notify``), in
    the order in which the cube sends them, out of which hostile ones are made. Each may stand
    with the turns that it tells: a text like ``"R U'"``, or their numbers; empty for none.
    """
    if cube is None and not packets:
        raise ValueError("decoder_tests needs a simulated cube, or some good packets")
    base = DecoderTests if cube is None else CubeTests
    parted = [
        (one, None) if isinstance(one, bytes) else (one[0], _turns(one[1])) for one in packets
    ]
    made = {
        "decoder": staticmethod(decoder),
        "given": tuple(data for data, _ in parted),
        "turns": tuple(turns for _, turns in parted),
    }
    if cube is not None:
        made["cube"] = staticmethod(cube)
    return type(f"Test{getattr(decoder, '__name__', 'Decoder')}", (base,), made)


def _turns(told: str | Sequence[int]) -> tuple[int, ...]:
    return tuple(map(parse_turn, told.split()) if isinstance(told, str) else told)

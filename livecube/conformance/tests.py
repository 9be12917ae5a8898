"""Makes the class of tests for a decoder."""

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

    ``cube`` simulates the cube's side; then the decoder is also tested in a whole exchange, over
    good and bad radio. Without it, ``packets`` must be some good packets (of the first
    characteristic in ``notify``), in the order in which the cube sends them; hostile packets are
    made from them. Each may come with the turns that it reports: a text like ``"R U'"``, or their
    numbers; empty for none. Raises ``ValueError`` if both are missing.
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

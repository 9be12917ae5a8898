"""The tests for a decoder, put together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.conformance.byte_tests import DecoderTests
from livecube.conformance.cube_tests import CubeTests

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.decoding import Decoder
    from livecube.virtual.cube import SimulatedCubeFactory

__all__ = ["decoder_tests"]


def decoder_tests(
    decoder: Callable[[], Decoder],
    cube: SimulatedCubeFactory | None = None,
    *,
    packets: Sequence[bytes] = (),
) -> type[DecoderTests]:
    """Tests for a decoder, as a class that pytest finds under the name that you give it.

    ``cube`` is the cube's side; then the decoder is tried in a talk, over good and bad radio.
    Without it ``packets`` must be some good ones (of the first characteristic in ``notify``),
    out of which hostile ones are made.
    """
    if cube is None and not packets:
        raise ValueError("decoder_tests needs a simulated cube, or some good packets")
    base = DecoderTests if cube is None else CubeTests
    made = {"decoder": staticmethod(decoder), "given": tuple(packets)}
    if cube is not None:
        made["cube"] = staticmethod(cube)
    return type(f"Test{getattr(decoder, '__name__', 'Decoder')}", (base,), made)

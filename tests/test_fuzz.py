"""A small part of ``python tests/checks/fuzz_decoders.py``, which sends millions of packets."""

from __future__ import annotations

import pytest
from examples import part_of
from fuzz_decoders import fuzzed

from livecube.composition.decoders import known_decoders


@pytest.mark.parametrize("name", part_of([*known_decoders(), "learned_2"]))
def test_a_decoder_survives_hostile_packets_and_finds_its_way_back(name: str) -> None:
    fuzzed(name, 2_500)

"""Tests that every decoder must pass, yours included: one line of pytest. Pure.

``TestMine = decoder_tests(MyDecoder, MyCube)`` (``protocols/README.md``, *Tests that it
inherits*).
"""

from livecube.conformance.tests import decoder_tests

__all__ = ["decoder_tests"]

"""Tests that every decoder has to pass, yours too: one line of pytest. Pure.

``TestMine = decoder_tests(MyDecoder, MyCube)`` (``protocols/README.md``, *Tests that it
inherits*).
"""

from livecube.conformance.tests import decoder_tests

__all__ = ["decoder_tests"]

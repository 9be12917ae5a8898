"""Decoders for cubes, one module a protocol.

livecube finds them by the entry-point groups ``livecube.decoders`` and ``livecube.simulated``.
It imports nothing from here; a decoder of your own plugs in the same way (``README.md``).
"""

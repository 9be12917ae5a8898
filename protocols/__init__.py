"""Decoders for cubes, one module a protocol.

livecube finds them by the entry-point groups ``livecube.decoders`` and ``livecube.simulated``
and imports nothing from here; a decoder of your own plugs in the same way (``README.md``).
"""

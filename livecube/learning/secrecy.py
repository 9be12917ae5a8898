"""Whether packets look encrypted: most bits are as often 0 as 1, whatever was turned."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["balanced_share", "looks_encrypted"]

_LEAST: Final = 40
_SIGMAS: Final = 4.5
"""Among a few hundred fair bits, one deviates so far once in some hundred recordings."""
_SHARE: Final = 0.7
"""Least share of fair bits in a packet: a header may be plain."""
_LEAST_BYTES: Final = 6


def balanced_share(packets: Sequence[bytes]) -> float:
    """The share of bits that look random, in packets of one length.

    A bit looks random if about half of the packets set it, and about half change it from the
    packet before.
    """
    raw = np.frombuffer(b"".join(packets), dtype=np.uint8).reshape(len(packets), -1)
    table = np.unpackbits(raw, axis=1).astype(np.int64)
    limit = _SIGMAS * np.sqrt(len(packets)) / 2
    ones = np.abs(table.sum(axis=0) - len(packets) / 2) <= limit
    changes = np.abs((table[1:] ^ table[:-1]).sum(axis=0) - (len(packets) - 1) / 2) <= limit
    return float((ones & changes).mean())


def looks_encrypted(packets: Sequence[bytes]) -> bool:
    """Whether most of the bits look random; repeated packets count once."""
    packets = list(dict.fromkeys(packets))
    if len(packets) < _LEAST or min(map(len, packets)) < _LEAST_BYTES:
        return False
    return balanced_share(packets) >= _SHARE

"""What makes packets plain before they are decoded: a plug-in, named by a profile.

Found by the entry-point group ``livecube.transforms``; there is none in livecube itself.
"""

from __future__ import annotations

from importlib.metadata import entry_points
from typing import Final, Protocol

from livecube.errors import UsageError

__all__ = ["GROUP", "Transform", "TransformFactory", "find_transform"]

GROUP: Final = "livecube.transforms"


class Transform(Protocol):
    """Bytes to bytes, for one connection. ``ValueError``: these bytes make no sense."""

    def incoming(self, characteristic: str, data: bytes) -> bytes:
        """A notification, made plain."""
        ...

    def outgoing(self, characteristic: str, data: bytes) -> bytes:
        """What a profile has to send, as the cube wants it."""
        ...


class TransformFactory(Protocol):
    """What an entry point of the group names; the class itself will do."""

    def __call__(self) -> Transform:
        """Make the transform of one connection."""
        ...


def find_transform(name: str) -> TransformFactory:
    """What makes the transform of this name, for each connection anew.

    Raises :class:`~livecube.errors.UsageError` if none is installed.
    """
    found = entry_points(group=GROUP)
    if name not in found.names:
        known = ", ".join(sorted(found.names)) or "none"
        raise UsageError(f"no transform is called {name!r}; installed: {known}")
    factory: TransformFactory = found[name].load()
    return factory

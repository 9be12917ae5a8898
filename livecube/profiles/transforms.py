"""Transforms: plug-ins, named by a profile, that make packets readable before decoding.

They come from the entry-point group ``livecube.transforms``; livecube itself has none.
"""

from __future__ import annotations

from typing import Final, Protocol

from livecube.errors import UsageError
from livecube.installed import installed

__all__ = ["GROUP", "Transform", "TransformFactory", "find_transform"]

GROUP: Final = "livecube.transforms"


class Transform(Protocol):
    """Bytes to bytes, for one connection. Raises ``ValueError`` if bytes make no sense."""

    def incoming(self, characteristic: str, data: bytes) -> bytes:
        """A notification, made readable."""
        ...

    def outgoing(self, characteristic: str, data: bytes) -> bytes:
        """A profile's write, in the form that the cube expects."""
        ...


class TransformFactory(Protocol):
    """The type of an entry point of the group; a :class:`Transform` class is one."""

    def __call__(self) -> Transform:
        """Make the transform of one connection."""
        ...


def find_transform(name: str) -> TransformFactory:
    """The factory of the transform of this name; call it once for each connection.

    Raises :class:`~livecube.errors.UsageError` if none is installed.
    """
    found = installed(GROUP)
    if name not in found.names:
        known = ", ".join(sorted(found.names)) or "none"
        raise UsageError(f"no transform is called {name!r}; installed: {known}")
    factory: TransformFactory = found[name].load()
    return factory

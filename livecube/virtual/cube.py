"""The interface of a simulated cube: a cube's firmware without a cube and without I/O.

Each protocol brings its own, found by the entry-point group ``livecube.simulated`` under the name
of its decoder. So everything behind the radio can run and be tested against the real bytes.

"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Protocol

from livecube.errors import UsageError
from livecube.installed import installed

if TYPE_CHECKING:
    from livecube.decoding import Advertisement

__all__ = ["GROUP", "SimulatedCube", "SimulatedCubeFactory", "simulated_cube"]

GROUP: Final = "livecube.simulated"


class SimulatedCube(Protocol):
    """One cube's firmware. ``cube_ms`` is its clock in ms, never decreasing; it wraps inside."""

    @property
    def position(self) -> bytes:
        """The present position: 20 facelets, see :mod:`livecube.cube.position`."""
        ...

    @property
    def advertisement(self) -> Advertisement:
        """The advertisement that the cube sends before it is connected."""
        ...

    @property
    def events(self) -> str:
        """The characteristic on which all its notifications come (UUID, lower case)."""
        ...

    @property
    def control(self) -> str:
        """The characteristic to which a host writes (UUID, lower case)."""
        ...

    def turn(self, turn: int, cube_ms: int) -> tuple[bytes, ...]:
        """Make one fixed-frame turn (0 to 17); returns the notifications that report it."""
        ...

    def written(self, data: bytes, cube_ms: int) -> tuple[bytes, ...]:
        """Take in a write of a host; returns the notifications that answer it."""
        ...

    def idle(self, cube_ms: int) -> tuple[bytes, ...]:
        """Notifications that are due without a turn; call it some ten times a second."""
        ...

    def set_battery(self, percent: int, cube_ms: int) -> tuple[bytes, ...]:
        """Change the charge (0 to 100); returns the notifications that report it."""
        ...

    def restarted(self) -> None:
        """Lose power for a moment: everything that the cube keeps only in memory is lost."""
        ...


class SimulatedCubeFactory(Protocol):
    """The target of an entry point of the group: makes a cube that has just been switched on."""

    def __call__(self, position: bytes = ..., *, battery_percent: int = ...) -> SimulatedCube:
        """Make a cube that stands in ``position`` (solved by default)."""
        ...


def simulated_cube(name: str) -> SimulatedCubeFactory:
    """Find the simulated cube that speaks the protocol of this name.

    Raises :class:`~livecube.errors.UsageError` if none is installed.
    """
    found = installed(GROUP)
    if name not in found.names:
        known = ", ".join(sorted(found.names)) or "none"
        raise UsageError(f"no simulated cube speaks {name!r}; installed: {known}")
    factory: SimulatedCubeFactory = found[name].load()
    return factory

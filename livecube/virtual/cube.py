"""What a simulated cube is: a cube's firmware without a cube, no input or output of its own.

Each protocol brings its own, found by the entry-point group ``livecube.simulated`` under
the name of its decoder, so that everything behind the radio can be run and tested against
the real bytes.
"""

from __future__ import annotations

from importlib.metadata import entry_points
from typing import TYPE_CHECKING, Final, Protocol

from livecube.errors import UsageError

if TYPE_CHECKING:
    from livecube.decoding import Advertisement

__all__ = ["GROUP", "SimulatedCube", "SimulatedCubeFactory", "simulated_cube"]

GROUP: Final = "livecube.simulated"


class SimulatedCube(Protocol):
    """One cube's firmware. ``cube_ms`` is its clock in ms, never decreasing; it wraps inside."""

    @property
    def position(self) -> bytes:
        """How the cube stands: 20 facelets, see :mod:`livecube.cube.position`."""
        ...

    @property
    def advertisement(self) -> Advertisement:
        """What the cube says of itself before it is connected."""
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
        """Make one fixed-frame turn (0 to 17); the notifications that tell of it."""
        ...

    def written(self, data: bytes, cube_ms: int) -> tuple[bytes, ...]:
        """Take in what a host wrote; the notifications that answer it."""
        ...

    def idle(self, cube_ms: int) -> tuple[bytes, ...]:
        """Notifications that are due without a turn; call it some ten times a second."""
        ...

    def set_battery(self, percent: int, cube_ms: int) -> tuple[bytes, ...]:
        """Change the charge (0 to 100); the notifications that tell of it."""
        ...

    def restarted(self) -> None:
        """Lose power for a moment: whatever the cube keeps only in memory is gone."""
        ...


class SimulatedCubeFactory(Protocol):
    """What an entry point of the group names: makes a cube that has just been switched on."""

    def __call__(self, position: bytes = ..., *, battery_percent: int = ...) -> SimulatedCube:
        """Make a cube that stands in ``position`` (solved by default)."""
        ...


def simulated_cube(name: str) -> SimulatedCubeFactory:
    """Find the simulated cube that speaks the protocol of this name.

    Raises :class:`~livecube.errors.UsageError` if none is installed.
    """
    found = entry_points(group=GROUP)
    if name not in found.names:
        known = ", ".join(sorted(found.names)) or "none"
        raise UsageError(f"no simulated cube speaks {name!r}; installed: {known}")
    factory: SimulatedCubeFactory = found[name].load()
    return factory

"""A position that is brought onto a cube by turns that are shown and followed."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.scrambling.following import Guidance, ScramblePath

__all__ = ["SettingUp"]


class SettingUp:
    """From where a cube stands (20 facelets) to ``target``.

    ``path_to`` gives the turns from one position to another. It may lead to a position that
    only looks like the target where it counts; :attr:`reached` is where it really leads.
    """

    def __init__(
        self, path_to: Callable[[bytes, bytes], ScramblePath], start: bytes, target: bytes
    ) -> None:
        self._path_to = path_to
        self._target = target
        self._path = path_to(start, target)

    @property
    def turns(self) -> tuple[int, ...]:
        """The whole path; empty if the cube stood there."""
        return self._path.turns

    @property
    def reached(self) -> bytes:
        """The position at the end of the path."""
        return self._path.target

    def guide(self, position: bytes) -> Guidance:
        """What whoever stands in a position has to do; by a new path if that is better."""
        guidance = self._path.guide(position)
        if guidance.lost:
            self._path = self._path_to(position, self._target)
            guidance = self._path.guide(position)
        return guidance

"""A cube that is typed: moves on the keyboard, for those without one that talks.

The keys are the notation itself, made in the holding that is stated: ``R`` is a turn of the
right face, ``r`` of the right two layers, ``x`` turns the whole cube; ``'`` and ``2`` behind
a move make it one in the other direction or a half turn. Backspace takes a move back.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Final

from livecube.cube.holding import SCRAMBLE_HOLDING, Holding, Move, fixed_turns, parse_colour
from livecube.cube.notation import parse_moves
from livecube.events import HoldingMark, State, Turn

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable

    from livecube.events import CubeEvent

__all__ = ["TypedCube"]

_LETTERS: Final = frozenset("UDLRFBudlrfbMESxyz")
_QUARTERS: Final = {"2": 2, "'": 3, "’": 3, "-": 3}
_BACK: Final = ("\x7f", "\b")
_WAIT_S: Final = 0.3
"""A move waits so long for a ``'`` or ``2`` behind it; its time is that of its letter."""


class TypedCube:
    """Turns that are typed, as events. ``now`` gives seconds, ``held`` what is stated."""

    def __init__(
        self, now: Callable[[], float], held: Callable[[], Holding | None], scramble: bytes | None
    ) -> None:
        self._now = now
        self._held = held
        self._events: asyncio.Queue[CubeEvent | None] = asyncio.Queue()
        self._pending: tuple[float, Move] | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._made: list[Move] = []
        self._holding: Holding | None = None
        """After what was typed but is not yet followed."""
        if scramble is not None:
            self._events.put_nowait(State(0.0, scramble))

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """What is typed, until :meth:`end`."""
        while (event := await self._events.get()) is not None:
            if self._events.empty():
                self._holding = None
            yield event

    def press(self, key: str) -> bool:
        """Take a key; whether it is one of ours."""
        if key in _LETTERS:
            self._flush()
            self._pending = (self._now(), parse_moves(key)[0])
            self._timer = asyncio.get_running_loop().call_later(_WAIT_S, self._flush)
        elif key in _QUARTERS and self._pending is not None:
            t, move = self._pending
            self._pending = (t, Move(move.symbol, _QUARTERS[key]))
            self._flush()
        elif key in _BACK:
            self._take_back()
        else:
            return key.isspace() or key in _QUARTERS
        return True

    def end(self) -> None:
        """Nothing more is typed."""
        self._flush()
        self._events.put_nowait(None)

    def _flush(self) -> None:
        """What was typed is made."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._pending is not None:
            (t, move), self._pending = self._pending, None
            self._made.append(move)
            self._make(t, move)

    def _take_back(self) -> None:
        if self._pending is not None:
            self._pending = None
            self._flush()
        elif self._made:
            self._make(self._now(), self._made.pop().inverted())

    def _make(self, t: float, move: Move) -> None:
        held = self._holding or self._held() or SCRAMBLE_HOLDING
        turns, after = fixed_turns([move], held)
        for turn in turns:
            self._events.put_nowait(Turn(t, turn, host=t))
        if after != held:
            up, front = parse_colour(after.up), parse_colour(after.front)
            self._events.put_nowait(HoldingMark(t, up, front))
        self._holding = after

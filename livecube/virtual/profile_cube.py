"""A simulated cube that sends the packets of a profile: the profile is its firmware."""

from __future__ import annotations

from collections import deque
from itertools import chain, pairwise, repeat
from typing import TYPE_CHECKING

from livecube.cube.position import SOLVED, TURN_BYTES
from livecube.decoding import Advertisement

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.profiles.values import Layout, Profile, TurnList

__all__ = ["ProfileCube"]


class ProfileCube:
    """A cube for ``livecube.virtual.cube.SimulatedCube`` from a profile without a transform.

    A half turn without a code is sent as two quarters. Every write that the profile sends on a
    gap is taken for a request, and answered by packets with the position. ``fill`` gives the
    bytes of a packet before its fields are put in, by default all zeros.
    """

    control = "00000000-0000-0000-0000-000000000000"

    def __init__(
        self,
        profile: Profile,
        position: bytes = SOLVED.tobytes(),
        *,
        battery_percent: int = 100,
        fill: Callable[[Layout], bytearray] | None = None,
    ) -> None:
        self.profile, self.position = profile, position
        self.battery_percent = battery_percent
        self._fill = fill or (lambda layout: bytearray(layout.shortest))
        self._codes = {turn: code for code, turn in profile.turns.items()}
        self._longest = max((la.turns.codes.count for la in profile.layouts if la.turns), default=1)
        self.events = profile.notify[0]
        self.restarted()

    @property
    def advertisement(self) -> Advertisement:
        """An advertisement that fits the profile's claim."""
        claim = self.profile.claim
        return Advertisement(
            claim.name,
            (claim.service,) if claim.service is not None else (),
            ((claim.manufacturer, b""),) if claim.manufacturer is not None else (),
        )

    def restarted(self) -> None:
        """Lose power: numbers start again."""
        self.made = self._made_ms = 0
        self._history: deque[tuple[int, int]] = deque(maxlen=self._longest + 1)

    def turn(self, turn: int, cube_ms: int) -> tuple[bytes, ...]:
        """Make one turn; a half turn that has no code is two quarters."""
        if self.profile.tells_turns and turn not in self._codes:
            return self.turn(turn - 1, cube_ms) + self.turn(turn - 1, cube_ms)
        self.position = self.position.translate(TURN_BYTES[turn])
        self.made += 1
        self._made_ms = cube_ms
        self._history.append((turn, self._ticks(cube_ms)))
        layouts = self.profile.layouts
        telling = [la for la in layouts if (la.turns if self.profile.tells_turns else la.state)]
        return tuple(self._packet(layout, cube_ms) for layout in telling)

    def written(self, data: bytes, cube_ms: int) -> tuple[bytes, ...]:
        """Send the position, if the host asked for it."""
        if data not in [write.data for write in self.profile.on_gap + self.profile.on_connect]:
            return ()
        stating = [layout for layout in self.profile.layouts if layout.state]
        return tuple(self._packet(layout, cube_ms) for layout in stating)

    def idle(self, cube_ms: int) -> tuple[bytes, ...]:
        """Send the packets that come without turns, too."""
        latest_ms = self._made_ms if self._history else cube_ms
        return tuple(self._packet(la, latest_ms) for la in self.profile.layouts if la.again)

    def set_battery(self, percent: int, cube_ms: int) -> tuple[bytes, ...]:
        """Change the charge, and send it if the profile has a packet for the charge alone."""
        self.battery_percent = percent
        plain = [la for la in self.profile.layouts if la.battery and not la.turns and not la.state]
        return tuple(self._packet(layout, cube_ms) for layout in plain)

    def _ticks(self, cube_ms: int) -> int:
        return -(-cube_ms * self.profile.per_second // 1000)

    def _packet(self, layout: Layout, cube_ms: int) -> bytes:
        data = self._fill(layout)
        data += bytes(self._more(layout))
        for field, value in layout.match:
            field.write(data, value)
        if layout.counter is not None:
            layout.counter.write(data, self.made % layout.numbers)
        if layout.clock is not None:
            layout.clock.write(data, self._ticks(cube_ms) % layout.clock_values)
        if layout.battery is not None:
            layout.battery.write(data, self.battery_percent)
        if layout.turns is not None:
            self._write_turns(layout.turns, data, layout.end(data))
        if layout.state and self.profile.state is not None:
            rows = self.profile.state.rows(self.position)
            for entries, row in zip(layout.state, rows, strict=True):
                entries.write(data, row)
        if layout.check is not None:
            layout.check.write(data)
        return layout.plain(bytes(data))

    def _more(self, layout: Layout) -> int:
        """How many bytes beyond the shortest packet its turns take, if it is long enough."""
        if layout.turns is None or layout.longest == layout.shortest:
            return 0
        fields = layout.turns.codes.fields[: len(self._history)]
        behind = 0 if layout.check is None else layout.check.behind
        needed = max(-(-field.end // 8) for field in fields) + behind
        return max(0, min(needed, layout.longest) - layout.shortest)

    def _write_turns(self, turns: TurnList, data: bytearray, end: int) -> None:
        latest = [*self._history][::-1]
        empty = turns.none if turns.none is not None else min(self.profile.turns)
        codes = [self._codes[turn] for turn, _ in latest[: turns.codes.count]]
        if turns.elapsed is not None:
            steps = [new - old for (_, new), (_, old) in pairwise(latest)]
            most = turns.elapsed.first.values - 1
            fitting = next((k for k, step in enumerate(steps) if step > most), len(steps))
            # If a time does not fit, the turns before it cannot be listed.
            codes = codes[: fitting + 1]
            turns.elapsed.write(data, steps[: min(fitting, turns.elapsed.count)])
        fields = [field for field in turns.codes.fields if field.end <= 8 * end]
        for field, code in zip(fields, chain(codes, repeat(empty)), strict=False):
            field.write(data, code)

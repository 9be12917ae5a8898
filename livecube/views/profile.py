"""A profile in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.cube.position import turn_name
from livecube.profiles.states import PieceCode

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.profiles.fields import Field
    from livecube.profiles.values import Layout, Profile

__all__ = ["profile_lines"]


def profile_lines(profile: Profile) -> Iterator[str]:
    """The parts of a profile, one line each."""
    yield f"{profile.name}: {_telling(profile)}"
    claim = profile.claim
    if claim.name is not None:
        yield f"recognised by a name that begins with {claim.name!r}"
    if claim.service is not None:
        yield f"recognised by the service {claim.service}"
    if claim.manufacturer is not None:
        yield f"recognised by the manufacturer identifier {claim.manufacturer:#06x}"
    if profile.transform is not None:
        yield f"packets are made readable by the transform {profile.transform}"
    for layout in profile.layouts:
        where = f"packet of {_length(layout)} bytes from {layout.characteristic}"
        yield f"{where}: {_parts(layout, profile)}"


def _telling(profile: Profile) -> str:
    if not profile.tells_turns:
        return "reports its position, from which turns are derived"
    half = any(turn % 3 == 1 for turn in profile.turns.values())
    known = ", ".join(turn_name(turn) for turn in sorted(profile.turns.values()))
    return f"reports {'turns' if half else 'quarter turns'} ({known})"


def _length(layout: Layout) -> str:
    longer = f" to {layout.longest}" if layout.longest != layout.shortest else ""
    return f"{layout.shortest}{longer}"


def _parts(layout: Layout, profile: Profile) -> str:
    parts = [f"masked by {layout.mask.hex(' ')}"] if layout.mask else []
    parts += [f"{value:#x} {_where(field)}" for field, value in layout.match]
    if layout.turns is not None:
        row = layout.turns.codes
        many = (
            f"the latest {row.count} turns, {row.stride} bits apart, from"
            if row.count > 1
            else "turn"
        )
        parts.append(f"{many} {_where(row.first)}")
    if layout.state:
        parts.append("pieces" if isinstance(profile.state, PieceCode) else "stickers")
    if layout.again:
        parts.append("sent without turns, too")
    if layout.counter is not None:
        parts.append(f"counter {_where(layout.counter)}{_wraps(layout.wrap)}")
    if layout.clock is not None:
        where = f"{_where(layout.clock)}{_wraps(layout.clock_wrap)}"
        parts.append(f"clock of {profile.per_second} ticks a second {where}")
    if layout.battery is not None:
        parts.append(f"battery {_where(layout.battery)}")
    if layout.check is not None:
        place = "at the end" if layout.check.last < 0 else _where(layout.check.field)
        parts.append(f"{layout.check.kind} {place}")
    return ", ".join(parts) or "nothing that is used"


def _wraps(after: int | None) -> str:
    return "" if after is None else f" (wraps after {after})"


def _where(field: Field) -> str:
    byte, bit = divmod(field.start, 8)
    return f"at byte {byte}{f' bit {bit}' if bit else ''} ({field.bits} bits, {field.order})"

"""The packets of turnwire version 1 to and from bytes (``turnwire.md``).

All numbers are little-endian; the first byte is version and type, the last the check byte.
"""

from __future__ import annotations

import struct
from typing import Final

from livecube.errors import PositionError

from .turnwire_packets import (
    CLOCK_BITS,
    MAX_DELTA_MS,
    MAX_EARLIER,
    VERSION,
    AgainRequest,
    BatteryPacket,
    CubePacket,
    Hello,
    HelloRequest,
    HostPacket,
    Packet,
    Snapshot,
    SnapshotRequest,
    TimedTurn,
    TooOld,
    Turns,
)
from .turnwire_position import Coordinates, coordinates, position

__all__ = ["PacketError", "UnknownVersionError", "check_byte", "decode", "encode"]

_CLOCK_MASK: Final = (1 << CLOCK_BITS) - 1
_HEADER: Final = struct.Struct("<BBHI")  # version and type, session, sequence number, clock
_NEWEST: Final = struct.Struct("<B")  # count and newest turn
_EARLIER: Final = struct.Struct("<H")  # turn and milliseconds to the next one
_SNAPSHOT: Final = struct.Struct("<HHIH")  # the four numbers of Coordinates, in order
_BATTERY: Final = struct.Struct("<B")  # percent
_TOO_OLD: Final = struct.Struct("<H")  # oldest sequence number kept
_HELLO: Final = struct.Struct("<BBBB")  # highest version, capabilities, history, percent
_AGAIN: Final = struct.Struct("<BHB")  # version and type, first sequence number, count
_PLAIN: Final = struct.Struct("<B")  # version and type

_TYPE_TURNS, _TYPE_SNAPSHOT, _TYPE_BATTERY, _TYPE_TOO_OLD, _TYPE_HELLO = range(1, 6)
_TYPE_HELLO_REQUEST, _TYPE_SNAPSHOT_REQUEST, _TYPE_AGAIN_REQUEST = range(9, 12)


class PacketError(ValueError):
    """The bytes are not a packet of this version; the message says why."""


class UnknownVersionError(PacketError):
    """A valid packet of a version that this side does not speak."""


def _crc_table() -> bytes:
    table = []
    for byte in range(256):
        for _ in range(8):
            byte = (byte << 1 ^ 0x2F if byte & 0x80 else byte << 1) & 0xFF
        table.append(byte)
    return bytes(table)


_CRC: Final = _crc_table()


def check_byte(data: bytes) -> int:
    """CRC-8, polynomial 0x2F, initial value 0xFF, not reflected, inverted at the end.

    >>> hex(check_byte(b"123456789"))
    '0xdf'
    """
    crc = 0xFF
    for byte in data:
        crc = _CRC[crc ^ byte]
    return crc ^ 0xFF


def encode(packet: Packet) -> bytes:
    """The bytes of a packet, check byte included. Fields must be in range."""
    body = _encode_body(packet)
    return body + bytes([check_byte(body)])


def _encode_body(packet: Packet) -> bytes:
    match packet:
        case Turns(turns=turns):
            return _header(_TYPE_TURNS, packet, turns[-1].cube_ms) + _encode_turns(turns)
        case Snapshot():
            return _header(_TYPE_SNAPSHOT, packet, packet.cube_ms) + _SNAPSHOT.pack(
                *coordinates(packet.position)
            )
        case BatteryPacket():
            return _header(_TYPE_BATTERY, packet, packet.cube_ms) + _BATTERY.pack(packet.percent)
        case TooOld():
            return _header(_TYPE_TOO_OLD, packet, packet.cube_ms) + _TOO_OLD.pack(packet.oldest)
        case Hello():
            return _header(_TYPE_HELLO, packet, packet.cube_ms) + _HELLO.pack(
                packet.highest_version, packet.capabilities, packet.history, packet.percent
            )
        case HelloRequest():
            return _PLAIN.pack(_lead(_TYPE_HELLO_REQUEST))
        case SnapshotRequest():
            return _PLAIN.pack(_lead(_TYPE_SNAPSHOT_REQUEST))
        case AgainRequest():
            return _AGAIN.pack(_lead(_TYPE_AGAIN_REQUEST), packet.seq, packet.count)


def _lead(kind: int) -> int:
    return VERSION << 4 | kind


def _header(kind: int, packet: CubePacket, cube_ms: int) -> bytes:
    return _HEADER.pack(_lead(kind), packet.session, packet.seq, cube_ms)


def _encode_turns(turns: tuple[TimedTurn, ...]) -> bytes:
    parts = [_NEWEST.pack((len(turns) - 1) << 5 | turns[-1].turn)]
    for before, after in zip(turns[-2::-1], turns[:0:-1], strict=True):
        delta = (after.cube_ms - before.cube_ms) & _CLOCK_MASK
        if delta > MAX_DELTA_MS:
            raise ValueError(f"turns {delta} ms apart do not fit into one packet")
        parts.append(_EARLIER.pack(before.turn << 11 | delta))
    return b"".join(parts)


def decode(data: bytes) -> Packet:
    """The packet in these bytes.

    Raises :class:`PacketError` and nothing else.
    """
    if len(data) < 2:
        raise PacketError("shorter than any packet")
    body = bytes(data[:-1])
    if check_byte(body) != data[-1]:
        raise PacketError("wrong check byte")
    version, kind = body[0] >> 4, body[0] & 0x0F
    if version != VERSION:
        raise UnknownVersionError(f"version {version}; this side speaks version {VERSION}")
    try:
        return _decode_request(kind, body) if kind >= 8 else _decode_report(kind, body)
    except struct.error:
        raise PacketError(f"wrong length for type {kind}: {len(data)} bytes") from None
    except PositionError as error:
        raise PacketError(f"impossible position: {error.law}") from None


def _decode_request(kind: int, body: bytes) -> HostPacket:
    if kind == _TYPE_AGAIN_REQUEST:
        _, seq, count = _AGAIN.unpack(body)
        return AgainRequest(seq, count)
    if kind not in (_TYPE_HELLO_REQUEST, _TYPE_SNAPSHOT_REQUEST):
        raise PacketError(f"unknown type {kind}")
    _PLAIN.unpack(body)
    return HelloRequest() if kind == _TYPE_HELLO_REQUEST else SnapshotRequest()


def _decode_report(kind: int, body: bytes) -> CubePacket:
    if not _TYPE_TURNS <= kind <= _TYPE_HELLO:
        raise PacketError(f"unknown type {kind}")
    _, session, seq, cube_ms = _HEADER.unpack_from(body)
    rest = body[_HEADER.size :]
    if kind == _TYPE_TURNS:
        return Turns(session, seq, _decode_turns(rest, cube_ms))
    if kind == _TYPE_SNAPSHOT:
        return Snapshot(session, seq, cube_ms, _decode_position(rest))
    if kind == _TYPE_BATTERY:
        return BatteryPacket(session, seq, cube_ms, _percent(*_BATTERY.unpack(rest)))
    if kind == _TYPE_TOO_OLD:
        return TooOld(session, seq, cube_ms, *_TOO_OLD.unpack(rest))
    return _checked(Hello(session, seq, cube_ms, *_HELLO.unpack(rest)))


def _decode_turns(rest: bytes, cube_ms: int) -> tuple[TimedTurn, ...]:
    (first,) = _NEWEST.unpack_from(rest)
    turns = [TimedTurn(_turn(first & 0x1F), cube_ms)]
    if len(rest) != _NEWEST.size + _EARLIER.size * (first >> 5) or first >> 5 > MAX_EARLIER:
        raise struct.error
    for (word,) in _EARLIER.iter_unpack(rest[_NEWEST.size :]):
        cube_ms = (cube_ms - (word & MAX_DELTA_MS)) & _CLOCK_MASK
        turns.append(TimedTurn(_turn(word >> 11), cube_ms))
    return tuple(reversed(turns))


def _turn(code: int) -> int:
    if code >= 18:
        raise PacketError(f"{code} is no turn")
    return code


def _decode_position(rest: bytes) -> bytes:
    numbers = Coordinates._make(_SNAPSHOT.unpack(rest))
    try:
        return position(numbers)
    except ValueError as error:
        raise PacketError(str(error)) from None


def _percent(value: int) -> int:
    if value > 100:
        raise PacketError(f"{value} % is no charge")
    return value


def _checked(hello: Hello) -> Hello:
    if hello.percent != 255:
        _percent(hello.percent)
    if hello.history < 64:
        raise PacketError(f"a history of {hello.history} turns is too short")
    return hello

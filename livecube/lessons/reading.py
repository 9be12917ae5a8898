"""Reading a lesson: Markdown with a small head; ``formats/lesson.md`` documents the form. Pure."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

from livecube.cube.code import parse_position
from livecube.cube.holding import COLOURS, Holding, cross_down, parse_colour
from livecube.cube.notation import parse_moves
from livecube.errors import LessonError, NotationError, PositionError
from livecube.lessons.lesson import Claim, Drill, Lesson, Show, Solves, Text, Try
from livecube.stages.frame import FRAMES

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator

    from livecube.cube.geometry import Array
    from livecube.lessons.lesson import Step

__all__ = ["GRADES", "NAME", "parse_lesson"]

GRADES: Final = ("easy", "medium", "hard")
NAME: Final = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_LONGEST_NAME: Final = 60
_VERSION: Final = "1"
_MOST_BYTES: Final = 200_000
_MOST_STEPS: Final = 200
_MOST: Final = 100
"""Most positions of a drill, or solves of a step."""
_LONGEST_LINE: Final = 2000
_FENCE: Final = "```"
_HEADING: Final = re.compile(r"#{1,6}\s+(\S.*?)\s*#*$")
_KEYS: Final = {
    "head": ("livecube-lesson", "name", "title", "about", "cross"),
    "show": ("position", "moves", "held", "cross", "say", "claim"),
    "try": ("position", "technique", "slots", "turns", "held", "cross", "ask", "claim"),
    "drill": ("technique", "count", "pass", "grade", "cross"),
    "solve": ("count", "focus"),
}
"""The keys of the head and of each kind of block; the first ones are needed."""
_NEEDED: Final = {"head": 3, "show": 2, "try": 1, "drill": 2, "solve": 1}
_OFTEN: Final = "claim"
"""The key that may stand several times."""


class _Value(NamedTuple):
    """A value and its line."""

    line: int
    text: str


@dataclass(frozen=True, slots=True)
class _Entries:
    """The entries of the head or of a block."""

    line: int
    """Of its first line."""
    one: dict[str, _Value]
    claims: tuple[Claim, ...]

    def text(self, key: str) -> str:
        """The value; empty if it is not there."""
        return self.one[key].text if key in self.one else ""

    def at(self, key: str) -> int:
        """The line of an entry; without it, that of the block."""
        return self.one[key].line if key in self.one else self.line


def parse_lesson(text: str, file: str, techniques: Collection[str]) -> Lesson:
    """The lesson of a text; ``file`` is named in errors, ``techniques`` can be asked for.

    Positions, moves and names are checked; whether its claims hold is not: see
    :func:`.claims.untrue`. Raises :class:`~livecube.errors.LessonError`.
    """
    return _Reader(text, file, techniques).lesson()


class _Reader:
    """Reads one text from its first line to its last."""

    def __init__(self, text: str, file: str, techniques: Collection[str]) -> None:
        self._file = file
        self._techniques = techniques
        self._lines = text.removeprefix("\ufeff").splitlines()
        if len(text) > _MOST_BYTES:
            raise self._fail(
                0, f"is longer than {_MOST_BYTES:,} characters; make two lessons of it"
            )
        for number, line in enumerate(self._lines, 1):
            if len(line) > _LONGEST_LINE:
                raise self._fail(
                    number, f"has more than {_LONGEST_LINE} characters; break the line"
                )
            if not line.replace("\t", " ").isprintable():
                raise self._fail(number, "has characters that cannot be shown; take them out")
        self._title = ""
        self._cross = 0

    def _fail(self, line: int, reason: str) -> LessonError:
        return LessonError(self._file, line, reason)

    def lesson(self) -> Lesson:
        """The whole lesson."""
        head, begins = self._head()
        if head.text("livecube-lesson") != _VERSION:
            raise self._fail(
                head.at("livecube-lesson"), "livecube-lesson is not 1, the only version"
            )
        name = head.text("name")
        if not NAME.fullmatch(name) or len(name) > _LONGEST_NAME:
            raise self._fail(
                head.at("name"),
                f"{name!r} is no name of a lesson; take small letters, digits and single hyphens, "
                f"at most {_LONGEST_NAME}",
            )
        self._cross = self._colour(head, "cross")
        self._title = head.text("title")
        steps = [*self._steps(begins)]
        if not steps:
            raise self._fail(0, "has no steps; write some text or a block below the head")
        if len(steps) > _MOST_STEPS:
            raise self._fail(
                steps[_MOST_STEPS].line, f"is step {_MOST_STEPS + 1}; make two lessons"
            )
        return Lesson(name, head.text("title"), head.text("about"), tuple(steps))

    def _head(self) -> tuple[_Entries, int]:
        """The head, and the index of the line behind it."""
        if not self._lines or self._lines[0].strip() != "---":
            raise self._fail(
                1, "is not ---: a lesson begins with its head between two lines of ---"
            )
        for at, line in enumerate(self._lines[1:], 1):
            if line.strip() == "---":
                return self._entries("head", 1, at), at + 1
        raise self._fail(
            1, "begins a head that does not end; put a line of --- below its last entry"
        )

    def _steps(self, at: int) -> Iterator[Step]:
        """The steps from the line with this index on."""
        paragraphs: list[str] = []
        begun, fresh = at, True
        """Index of the text's first line; whether the next line begins a paragraph."""
        while at < len(self._lines):
            line = self._lines[at].strip()
            heading, fence = _HEADING.match(line), line.startswith(_FENCE)
            if (heading or fence) and paragraphs:
                yield Text(begun + 1, self._title, tuple(paragraphs))
                paragraphs = []
            if heading:
                self._title, fresh = heading[1], True
            elif fence:
                end = self._fence_end(at)
                yield self._block(line.removeprefix(_FENCE).strip(), at, end)
                at, fresh = end, True
            elif not line:
                fresh = True
            elif fresh or line.startswith("- "):
                begun = begun if paragraphs else at
                paragraphs.append(line)
                fresh = False
            else:
                paragraphs[-1] += " " + line
            at += 1
        if paragraphs:
            yield Text(begun + 1, self._title, tuple(paragraphs))

    def _fence_end(self, at: int) -> int:
        for end in range(at + 1, len(self._lines)):
            if self._lines[end].strip() == _FENCE:
                return end
        raise self._fail(
            at + 1, f"begins a block that does not end; close it with a line of {_FENCE}"
        )

    def _block(self, kind: str, at: int, end: int) -> Step:
        made: dict[str, Callable[[_Entries], Step]] = {
            "show": self._show,
            "try": self._try,
            "drill": self._drill,
            "solve": self._solve,
        }
        if kind not in made:
            raise self._fail(at + 1, f"{kind!r} is no kind of step; write {', '.join(made)}")
        return made[kind](self._entries(kind, at + 1, end))

    def _entries(self, kind: str, begin: int, end: int) -> _Entries:
        """The entries on the lines with indexes ``begin`` to ``end``."""
        keys = _KEYS[kind]
        one: dict[str, _Value] = {}
        claims: list[Claim] = []
        for at in range(begin, end):
            if not self._lines[at].strip():
                continue
            key, colon, value = (part.strip() for part in self._lines[at].partition(":"))
            if not colon:
                raise self._fail(at + 1, "is no entry; write a key, a colon, and a value")
            if key not in keys:
                raise self._fail(at + 1, f"{key!r} is no key of {kind}; it has {', '.join(keys)}")
            if not value:
                raise self._fail(at + 1, f"{key} has no value")
            if key == _OFTEN:
                claims.append(Claim(at + 1, value))
            elif key in one:
                raise self._fail(at + 1, f"{key} is there already, on line {one[key].line}")
            else:
                one[key] = _Value(at + 1, value)
        for key in keys[: _NEEDED[kind]]:
            if key not in one:
                raise self._fail(begin, f"{kind} has no {key}; add a line {key}: …")
        return _Entries(begin, one, tuple(claims))

    # The kinds of blocks.

    def _show(self, entries: _Entries) -> Show:
        position, told, face = self._position(entries)
        try:
            moves = tuple(parse_moves(entries.text("moves")))
        except NotationError as error:
            raise self._fail(entries.at("moves"), f"moves, {error}") from None
        if not moves:
            raise self._fail(entries.at("moves"), "moves are not there; write some")
        holding = self._held(entries) or told or cross_down(face)
        return Show(
            entries.line, self._title, bytes(position.tolist()), face, holding, moves,
            entries.text("say"), entries.claims,
        )  # fmt: skip

    def _try(self, entries: _Entries) -> Try:
        position, told, face = self._position(entries)
        technique = entries.text("technique") or None
        if technique is not None:
            self._known(entries, "technique")
        slots = tuple("-".join(sorted(s.split("-"))) for s in entries.text("slots").split())
        for slot in slots:
            if slot not in FRAMES[face].slots:
                raise self._fail(
                    entries.at("slots"),
                    f"the {COLOURS[face]} cross has no slot {slot!r}; its slots: "
                    + ", ".join(FRAMES[face].slots),
                )
        turns = self._number(entries, "turns") if "turns" in entries.one else None
        return Try(
            entries.line, self._title, bytes(position.tolist()), face,
            self._held(entries) or told, entries.text("ask"), technique, slots, turns,
            entries.claims,
        )  # fmt: skip

    def _drill(self, entries: _Entries) -> Drill:
        self._known(entries, "technique")
        grade = entries.text("grade") or None
        if grade not in (None, *GRADES):
            raise self._fail(
                entries.at("grade"), f"{grade!r} is no grade; write {', '.join(GRADES)}"
            )
        count = self._number(entries, "count")
        mark = self._number(entries, "pass") if "pass" in entries.one else count
        if mark > count:
            raise self._fail(entries.at("pass"), f"pass is {mark}, more than the {count} positions")
        face = self._colour(entries, "cross")
        technique = entries.text("technique")
        return Drill(entries.line, self._title, technique, grade, count, mark, face)

    def _solve(self, entries: _Entries) -> Solves:
        if "focus" in entries.one:
            self._known(entries, "focus")
        count = self._number(entries, "count")
        return Solves(entries.line, self._title, count, entries.text("focus") or None)

    # Values.

    def _known(self, entries: _Entries, key: str) -> None:
        name = entries.text(key)
        if name not in self._techniques:
            known = ", ".join(self._techniques)
            raise self._fail(entries.at(key), f"{name!r} is no technique; one of {known}")

    def _number(self, entries: _Entries, key: str) -> int:
        text = entries.text(key)
        if not re.fullmatch(r"[0-9]{1,3}", text) or not 1 <= int(text) <= _MOST:
            raise self._fail(
                entries.at(key), f"{key} is {text!r}; write a number from 1 to {_MOST}"
            )
        return int(text)

    def _colour(self, entries: _Entries, key: str) -> int:
        if key not in entries.one:
            return self._cross
        try:
            return parse_colour(entries.text(key))
        except ValueError as error:
            raise self._fail(entries.at(key), f"{key}, {error}") from None

    def _held(self, entries: _Entries) -> Holding | None:
        if "held" not in entries.one:
            return None
        try:
            return _holding(entries.text("held"))
        except ValueError as error:
            raise self._fail(entries.at("held"), f"held, {error}") from None

    def _position(self, entries: _Entries) -> tuple[Array, Holding | None, int]:
        try:
            position, told = parse_position(entries.text("position"))
        except (NotationError, PositionError) as error:
            raise self._fail(entries.at("position"), f"position, {error}") from None
        return position, told, self._colour(entries, "cross")


def _holding(text: str) -> Holding:
    """A holding, as *yellow up, red front*.

    Raises ``ValueError``.
    """
    found = re.fullmatch(r"(\w+) up, (\w+) (?:in )?front", text)
    if found is None:
        raise ValueError(f"{text!r} is no holding; write it as: yellow up, red front")
    return Holding.of(parse_colour(found[1]), parse_colour(found[2]))

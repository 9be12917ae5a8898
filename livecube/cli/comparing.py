"""Which people and periods a report compares."""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from datetime import UTC, timedelta
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from livecube.cli.cubes import say_aside
from livecube.cli.history import moments_named, wanted_of
from livecube.cli.trends import opened_source, whose_from
from livecube.edges.saying import say
from livecube.errors import UsageError
from livecube.solves.people import ANY, Whose, known_person, same, shown_name

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from livecube.archive.columns import Archive
    from livecube.cli.options import FocusAsked
    from livecube.history.store import History
    from livecube.solves.people import Person
    from livecube.solves.records import Wanted

__all__ = ["Compared", "comparing_options", "comparison_of", "disguised", "narrowed"]

_OPTIONS = (
    click.option(
        "--with",
        "others",
        multiple=True,
        metavar="NAME|any",
        help="Compare with this person, too; may be given several times. any: with everybody.",
    ),
    click.option(
        "--period",
        "periods",
        multiple=True,
        metavar="DAY[..DAY]",
        help="Compare this period with another one, as in 2026-02 or 2026-02-01..2026-03-15; "
        "may be given several times.",
    ),
    click.option(
        "--before-after", "change", metavar="DAY", help="Compare before this day and from it on."
    ),
    click.option("--no-names", is_flag=True, help="Numbers instead of the names of people."),
)


@dataclass(frozen=True, slots=True)
class Compared:
    """What is compared, as the options say."""

    others: tuple[str, ...]
    periods: tuple[tuple[str, str | None, str | None], ...]
    """Names, first and last moments in UTC; None: without a limit."""
    no_names: bool

    @property
    def is_asked(self) -> bool:
        """Whether anything is compared."""
        return bool(self.others or self.periods)


def comparing_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options about comparing; a command gets them together as ``compared``."""

    @functools.wraps(command)
    def gathered(**options: Any) -> None:
        others, named, change = (options.pop(name) for name in ("others", "periods", "change"))
        asked = Compared(others, _periods(named, change), options.pop("no_names"))
        command(compared=asked, **options)

    for option in reversed(_OPTIONS):
        gathered = option(gathered)
    return gathered


def _periods(
    named: Sequence[str], change: str | None
) -> tuple[tuple[str, str | None, str | None], ...]:
    if change is not None:
        if named:
            raise UsageError("give --period or --before-after, not both")
        first, _ = moments_named(change)
        before = (first - timedelta(seconds=1), first)
        return (
            (f"before {change}", None, _text(before[0])),
            (f"from {change} on", _text(before[1]), None),
        )
    found = []
    for period in named:
        begin, _, end = period.partition("..")
        first, last = moments_named(begin)[0], moments_named(end or begin)[1]
        if last < first:
            raise UsageError(f"the period {period} ends before it begins")
        found.append((period.replace("..", " to "), _text(first), _text(last)))
    if len(found) == 1:
        raise UsageError("one period has nothing to be compared with; give --period twice")
    return tuple(found)


def _text(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def comparison_of(
    compared: Compared,
    archive: Path | None,
    session: int | None,
    focus: FocusAsked,
    asked: Mapping[str, str | None],
) -> str:
    """The page that compares what the options say.

    Raises :class:`~livecube.errors.UsageError` if fewer than two groups have a solve with a time.
    """
    from livecube.trends.comparing import Group
    from livecube.trends.comparing import compared as side_by_side
    from livecube.trends.comparison_page import comparison_page
    from livecube.trends.figures import results_ms

    if compared.periods and (asked["since"] is not None or asked["until"] is not None):
        raise UsageError("--since and --until go with no period: the periods say it all")
    wish = focus.focus()
    groups = []
    with opened_source(archive) as source:
        whose = _people(source, asked["person"], session, compared.others)
        for one in whose:
            wanted = replace(wanted_of(one, **asked), session=session)
            for period, its in _narrowed(wanted, compared.periods):
                name = ", ".join(filter(None, (_name(one, compared, len(whose)), period)))
                columns, chances = source.columns(its)
                if not (results_ms(columns) >= 0).any():
                    say_aside(f"{name}: no kept solve with a time fits; left out")
                    continue
                practised = None
                if wish is not None:
                    practised = source.practised(its, wish.techniques, wish.within_s)
                groups.append(Group(name, columns, chances, practised))
    if len(groups) < 2:
        raise UsageError(
            "there is nothing to compare: fewer than two groups have a solve that fits"
        )
    found = side_by_side(groups, np.random.default_rng(1))
    if compared.no_names:
        for one in whose:
            if one.person is not None:
                say(f"{disguised(one.person)} is {shown_name(one.person.name)}")
    title = ", ".join(["Solves compared", *narrowed(asked, session)])
    told = ""
    if wish is not None:
        told = f"{', '.join(sorted(wish.techniques))}; at most {wish.within_s:.2f} s dearer."
    return comparison_page(found, title, told)


def narrowed(asked: Mapping[str, str | None], session: int | None) -> list[str]:
    """The options that narrow the choice of solves, in words."""
    said = {"session": session, **{name: asked[name] for name in ("tag", "technique", "cross")}}
    return [f"{name} {value}" for name, value in said.items() if value is not None]


def disguised(person: Person) -> str:
    """A number in the place of a name; it stays the same on all pages."""
    return f"person {person.number}"


def _people(
    source: History | Archive, said: str | None, session: int | None, others: Sequence[str]
) -> list[Whose]:
    """Those whose solves are compared, in the order in which they were named."""
    roster = source.roster()
    everybody = any(same(name, ANY) for name in others)
    named = [whose_from(source, said, session)] if said is not None or not everybody else []
    if others and any(one.person is None for one in named):
        raise UsageError(f"--with compares people, and --person {ANY} mixes them; name one")
    more = roster if everybody else [known_person(roster, name) for name in others]
    for person in more:
        if all(one.person != person for one in named):
            named.append(Whose(person, shown_name(person.name)))
    return named


def _narrowed(
    wanted: Wanted, periods: Sequence[tuple[str, str | None, str | None]]
) -> list[tuple[str, Wanted]]:
    if not periods:
        return [("", wanted)]
    return [(name, replace(wanted, since=since, until=until)) for name, since, until in periods]


def _name(one: Whose, compared: Compared, people: int) -> str:
    """The name of a group's person; empty if all groups are of the same one."""
    if people == 1 or one.person is None:
        return ""
    return disguised(one.person) if compared.no_names else shown_name(one.person.name)

"""``livecube mqtt``: check a broker, listen to desks, and files for other programs."""

from __future__ import annotations

import asyncio
import json
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click
from rich.console import Console

from livecube.cli.broker_options import broker_options
from livecube.composition.run import Ending, run_in_order
from livecube.edges.drawing import Drawing
from livecube.edges.saying import say
from livecube.errors import UsageError

if TYPE_CHECKING:
    from rich.console import RenderableType

    from livecube.dashboard.desks import Arrived, Desks, DesksSeen
    from livecube.dashboard.sending import Plan

__all__ = ["mqtt"]


@click.group()
def mqtt() -> None:
    """Publish to a home dashboard: check the broker, listen, take everything back."""


@mqtt.command()
@broker_options
def check(plan: Plan) -> None:
    """Connect, publish, read it back, and report errors.

    The password comes from LIVECUBE_MQTT_PASSWORD, or from the place in the configuration.
    """
    from livecube.dashboard.tools import check_broker, waiting_messages

    address = plan.access.address
    if plan.remark:
        say(f"livecube: {plan.remark}", err=True)
    seconds = asyncio.run(check_broker(plan))
    how = "by TLS" if address.tls else "in plain text"
    say(f"{address.place}, {how}: published and read back in {seconds * 1000:.0f} ms")
    say(f"desk {plan.desk}: topics begin with {plan.tree.topic('')}")
    try:
        waiting = waiting_messages(plan)
    except UsageError:
        say("a livecube is publishing for this desk now")
    else:
        say(f"messages that wait to be sent: {waiting}")


@mqtt.command()
@broker_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def listen(plan: Plan, as_json: bool) -> None:
    """Show what arrives from all desks below the prefix, until Ctrl-C."""
    from livecube.dashboard.tools import listen_to_desks

    screen = _Screen(as_json)
    listening = listen_to_desks(plan, screen.heard, screen.complain)
    run_in_order(listening, screen.close, screen.ending)


@mqtt.command()
@broker_options
def forget(plan: Plan) -> None:
    """Delete all messages of this desk on the broker, and those that wait for it."""
    from livecube.dashboard.tools import forget_desk

    taken = asyncio.run(forget_desk(plan))
    say(f"desk {plan.desk}: {taken} messages deleted")


@mqtt.command()
@click.argument("name", required=False)
def schema(name: str | None) -> None:
    """Print the JSON Schema of a kind of message; without NAME, the tree of topics."""
    from livecube.dashboard.sink import schema_text, tree_text

    click.echo(tree_text() if name is None else schema_text(name), nl=False)


@mqtt.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
def page(file: Path) -> None:
    """Write an example of a dashboard into FILE: a single page for a browser."""
    from livecube.dashboard.sink import page_text

    try:
        with file.open("x", encoding="utf-8") as new:
            new.write(page_text())
    except FileExistsError:
        raise UsageError(f"{file} exists; give another name") from None
    except OSError as error:
        raise UsageError(f"{file} cannot be written: {error.strerror}") from None
    say(f"{file}: open it in a browser; the broker has to listen for WebSockets")


class _Screen:
    """A live table on a terminal, lines in a pipe, objects with ``--json``."""

    def __init__(self, as_json: bool) -> None:
        self._as_json = as_json
        self._shown: tuple[DesksSeen | None, str] = None, ""
        """The desks and a notice, replaced as a whole: another thread draws them."""
        self._console = Console(highlight=False, markup=False)
        self.ending = Ending()
        self._drawing: Drawing | None = None
        if self._console.is_terminal and not as_json:
            self._drawing = Drawing(self._console, self._table, 4, self.ending.because)

    def heard(self, desks: Desks, arrived: Arrived | None) -> None:
        """Take in a message; None: an unusable one."""
        from livecube.dashboard.desks_screen import arrived_line

        if self._drawing is not None:
            self._shown = desks.seen(), self._shown[1]
            return
        if arrived is None:
            return
        if self._as_json:
            click.echo(json.dumps({"topic": arrived.name, "of": arrived.desk} | arrived.body))
        elif (line := arrived_line(desks, arrived, f"{datetime.now():%H:%M:%S}")) is not None:
            say(line)
        sys.stdout.flush()

    def complain(self, sentence: str) -> None:
        """Report an error of the connection."""
        self._shown = self._shown[0], sentence
        if self._drawing is None:
            say(f"livecube: {sentence}", err=True)

    def close(self) -> None:
        """Give the terminal back."""
        if self._drawing is not None:
            self._drawing.stop()

    def _table(self) -> RenderableType:
        from livecube.dashboard.desks_screen import desks_table

        seen, notice = self._shown
        if seen is None:
            return ""
        return desks_table(seen, self._console.height - 3, self._console.width, notice)

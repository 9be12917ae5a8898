"""``livecube config``: where the configuration is, and the values in use."""

from __future__ import annotations

import json

import click

from livecube.edges.configuration import TABLES, example, read_configuration
from livecube.edges.saying import say, screen_width
from livecube.views.lines import table_lines

__all__ = ["config"]


@click.command()
@click.option("--check", is_flag=True, help="Only check the file.")
@click.option("--example", "as_example", is_flag=True, help="Print an example file.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def config(check: bool, as_example: bool, as_json: bool) -> None:
    """Show where the configuration is, the values in use, and which come from the file.

    The file is config.toml in your system's configuration folder for livecube, or in the folder
    that LIVECUBE_CONFIG names. An option of a command overrides the configuration.
    """
    if as_example:
        click.echo(example(), nl=False)
        return
    found = read_configuration()
    if check:
        state = "is correct" if found.exists else "does not exist; it is optional"
        say(f"{found.file} {state}")
        return
    tables = {
        name: {
            entry.name: {
                "value": found.table(name)[entry.name],
                "from": "file" if found.is_said(name, entry.name) else "default",
            }
            for entry in entries
        }
        for name, entries in TABLES.items()
    }
    if as_json:
        click.echo(json.dumps({"file": str(found.file), "exists": found.exists, **tables}))
        return
    say(f"{found.file}{'' if found.exists else ' (does not exist)'}")
    for name, entries_now in tables.items():
        say(f"[{name}]")
        rows = [
            (entry, str(now["from"]), json.dumps(now["value"], ensure_ascii=False))
            for entry, now in entries_now.items()
        ]
        rows = [(entry, came, "–" if value == "null" else value) for entry, came, value in rows]
        lines = table_lines(rows, screen_width(), words=True, left=(0, 1, 2), indent="  ")
        say("\n".join(lines))

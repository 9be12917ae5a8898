"""What comes with livecube for other programs of a dashboard: schemas, the tree, a page."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

from livecube.errors import UsageError

__all__ = ["page_text", "schema_names", "schema_text", "tree_text"]

_SUFFIX: Final = ".schema.json"
_CLIENT: Final = "/* the MQTT client stands here */"


def schema_names() -> list[str]:
    """Of which messages a schema is published."""
    found = (file.name for file in files("livecube.dashboard").iterdir())
    return sorted(name.removesuffix(_SUFFIX) for name in found if name.endswith(_SUFFIX))


def schema_text(name: str) -> str:
    """The JSON Schema of a kind of message.

    Raises :class:`~livecube.errors.UsageError`, which names the known ones.
    """
    if name not in schema_names():
        raise UsageError(f"no message is called {name!r}; there are {', '.join(schema_names())}")
    return _shipped(name + _SUFFIX)


def tree_text() -> str:
    """The description of the topics."""
    return _shipped("README.md")


def page_text() -> str:
    """The page, with the client that it needs inside: it loads nothing."""
    return _shipped("page.html").replace(_CLIENT, _shipped("mqtt.min.js"))


def _shipped(name: str) -> str:
    return (files("livecube.dashboard") / name).read_text(encoding="utf-8")

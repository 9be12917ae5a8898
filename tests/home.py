"""A stand-in for Home Assistant's side of MQTT discovery, following its documentation.

It takes in messages, and gives the entities and the state of each. It uses Jinja's templates, as
the original does. Where the original writes a warning into its log (a template refers to a missing
value), this one fails.
"""

from __future__ import annotations

import functools
import json
from dataclasses import dataclass, field
from typing import Any

import jinja2

__all__ = ["Home"]

_SHORT = {"p": "platform", "cmps": "components", "dev": "device", "o": "origin"}


@dataclass
class Home:
    """Takes in messages below its discovery ``prefix`` and on the topics that they name."""

    prefix: str
    entities: dict[tuple[str, str], dict[str, Any]] = field(default_factory=dict)
    """Entities by the topic of the configuration and the key in it."""
    values: dict[str, str | None] = field(default_factory=dict)
    """By unique id."""
    there: dict[str, bool] = field(default_factory=dict)
    kept: dict[str, bytes] = field(default_factory=dict)
    """The last message on each topic; a new entity gets it."""
    heard: int = 0
    """Messages taken in so far."""
    events: list[str] = field(default_factory=list)
    """Events fired by all event entities."""

    def take(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """Take in a message."""
        if topic.startswith(f"{self.prefix}/") and topic.endswith("/config"):
            self._configure(topic, payload)
            for known, last in self.kept.items():
                self._hear(known, last, retained=True)
            return
        self.kept[topic] = payload
        self._hear(topic, payload, retained=retained)

    def _hear(self, topic: str, payload: bytes, *, retained: bool) -> None:
        for entity in self.entities.values():
            for there in entity.get("availability", []):
                if there["topic"] == topic:
                    state = _rendered(there["value_template"], payload)
                    self.there[entity["unique_id"]] = state == "online"
            if entity.get("state_topic") == topic:
                self._update(entity, payload, retained)

    def described(self) -> dict[str, dict[str, Any]]:
        """Every entity by its unique id."""
        return {entity["unique_id"]: entity for entity in self.entities.values()}

    def states(self) -> dict[str, str | None]:
        """The state of each entity by its name; None: unknown."""
        return {
            entity["name"]: self.values.get(key)
            if self.there.get(key, "availability" not in entity)
            else "unavailable"
            for key, entity in self.described().items()
        }

    def _configure(self, topic: str, payload: bytes) -> None:
        for key in [key for key in self.entities if key[0] == topic]:
            del self.entities[key]
        if not payload:
            return
        body = {_SHORT.get(name, name): value for name, value in json.loads(payload).items()}
        if "components" in body:
            shared = {name: value for name, value in body.items() if name != "components"}
            for key, component in body["components"].items():
                whole = {_SHORT.get(name, name): value for name, value in component.items()}
                if len(whole) == 1:  # nothing but the platform: it is taken back
                    continue
                self.entities[topic, key] = shared | whole
        else:
            self.entities[topic, ""] = body | {"platform": topic.split("/")[1]}

    def _update(self, entity: dict[str, Any], payload: bytes, retained: bool) -> None:
        key = entity["unique_id"]
        if entity["platform"] == "event":
            if retained or not (told := _rendered(entity["value_template"], payload)):
                return
            kind = json.loads(told)["event_type"]
            assert kind in entity["event_types"]
            self.values[key] = kind
            self.events.append(kind)
            return
        state = _rendered(entity["value_template"], payload)
        if state == "None":
            self.values[key] = None
            return
        if entity["platform"] == "binary_sensor":
            assert state in ("ON", "OFF")
        if entity.get("state_class") == "measurement":
            float(state)
        if entity.get("device_class") == "enum":
            assert state in entity["options"]
        self.values[key] = state


def _rendered(template: str, payload: bytes) -> str:
    rendered: str = _template(template).render(
        value=payload.decode(), value_json=json.loads(payload)
    )
    return rendered


@functools.cache
def _template(text: str) -> jinja2.Template:
    environment = jinja2.Environment(undefined=jinja2.StrictUndefined)
    template: jinja2.Template = environment.from_string(text)
    return template

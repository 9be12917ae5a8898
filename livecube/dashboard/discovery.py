"""Introduces a desk to Home Assistant, by its MQTT discovery.

There are two forms: one message for the whole device, or one for each entity, since instances
before late 2024 know only that. Both give an entity the same ``unique_id``, which depends on the
desk alone.

An entity that may lack a value for long is introduced when it has one: a battery without a charge
would be shown without a state for ever.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, get_args

from livecube.dashboard.entities import LIVE, NEEDED, device_of, entities_of
from livecube.dashboard.topics import AVAILABILITY, BATTERY, Tree

if TYPE_CHECKING:
    from collections.abc import Collection

__all__ = [
    "FORMS",
    "Form",
    "birth_topic",
    "configurations",
    "discovery_topics",
    "is_birth",
    "is_death",
    "is_known",
]

Form: TypeAlias = Literal["device", "entities", "off"]
FORMS: tuple[Form, ...] = get_args(Form)


def birth_topic(prefix: str) -> str:
    """The topic on which Home Assistant reports its start and end."""
    return f"{prefix}/status"


def is_birth(payload: bytes) -> bool:
    """Whether the payload reports its start; other payloads are ignored."""
    return payload == b"online"


def is_death(payload: bytes) -> bool:
    """Whether the payload reports its end, also as its last will."""
    return payload == b"offline"


def is_known(name: str, body: dict[str, Any]) -> bool:
    """Whether an entity waits for the state ``name`` to have a value, and this message has one."""
    if name == BATTERY:
        return body.get("percent") is not None
    return name in NEEDED.values()


def configurations(
    tree: Tree, name: str, version: str, form: Form, prefix: str, known: Collection[str]
) -> list[tuple[str, str]]:
    """Topics and payloads, all retained, that introduce the desk called ``name``.

    ``known``: the states that have a value, see :func:`is_known`. An empty payload, or a component
    with only its platform, removes an entity.
    """
    shared = _shared(tree, name, version) | {"qos": 1}
    there, gone = _sorted_out(tree, known)
    match form:
        case "off":
            return []
        case "device":
            components = there | {key: {"p": entity["p"]} for key, entity in gone.items()}
            return [(_device_topic(tree, prefix), _json(shared | {"cmps": components}))]
        case "entities":
            told = {key: _json(shared | _without_platform(one)) for key, one in there.items()}
            told |= dict.fromkeys(gone, "")
            return [
                (_entity_topic(tree, prefix, key, entity["p"]), told[key])
                for key, entity in (there | gone).items()
            ]


def _sorted_out(
    tree: Tree, known: Collection[str]
) -> tuple[dict[str, dict[str, Any]], dict[str, dict[str, Any]]]:
    """The entities that are there, and those that may have been and are not.

    Only a battery goes again, with its cube.
    """
    there: dict[str, dict[str, Any]] = {}
    gone: dict[str, dict[str, Any]] = {}
    for key, entity in entities_of(tree).items():
        if key in LIVE:
            entity |= _there_while_online(tree)
        needed = NEEDED.get(key)
        if needed is None or needed in known:
            there[key] = entity
        elif needed == BATTERY:
            gone[key] = entity
    return there, gone


def _without_platform(entity: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in entity.items() if name != "p"}


def discovery_topics(tree: Tree, prefix: str, form: Form | None = None) -> list[str]:
    """Every topic that a configuration of this desk may stand on, in this form; None: in either."""
    topics: list[str] = []
    if form in ("device", None):
        topics.append(_device_topic(tree, prefix))
    if form in ("entities", None):
        entities = entities_of(tree)
        topics += [_entity_topic(tree, prefix, key, one["p"]) for key, one in entities.items()]
    return topics


def _json(body: dict[str, Any]) -> str:
    return json.dumps(body, separators=(",", ":"), ensure_ascii=False)


def _device_topic(tree: Tree, prefix: str) -> str:
    return f"{prefix}/device/{device_of(tree)}/config"


def _entity_topic(tree: Tree, prefix: str, key: str, platform: str) -> str:
    return f"{prefix}/{platform}/{device_of(tree)}/{key}/config"


def _shared(tree: Tree, name: str, version: str) -> dict[str, Any]:
    return {
        "dev": {"ids": [device_of(tree)], "name": f"livecube {name}", "sw": version},
        "o": {"name": "livecube", "sw": version},
    }


def _there_while_online(tree: Tree) -> dict[str, Any]:
    """For what has no state unless the desk is there."""
    there = {"topic": tree.topic(AVAILABILITY), "value_template": "{{ value_json.state }}"}
    return {"availability": [there]}

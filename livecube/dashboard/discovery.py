"""How a desk introduces itself to Home Assistant, by its MQTT discovery.

Two forms: one message for the whole device, or one for each entity, which instances before late
2024 know only. Both give the same entities the same ``unique_id``, which depends on the desk alone.

What may have no value for long is introduced when there is one: a battery of which the cube says
nothing would stand there for ever without a state.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias, get_args

from livecube.dashboard.topics import (
    AVAILABILITY,
    BATTERY,
    LATEST,
    LINK,
    SESSION,
    SOLVE,
    STAGE,
    Tree,
)

if TYPE_CHECKING:
    from collections.abc import Collection

__all__ = [
    "FORMS",
    "Form",
    "birth_topic",
    "configurations",
    "discovery_topics",
    "is_birth",
    "is_known",
]

Form: TypeAlias = Literal["device", "entities", "off"]
FORMS: tuple[Form, ...] = get_args(Form)

_STAGES: Final = (
    ("cross", "Cross"),
    ("pair_1", "Pair 1"),
    ("pair_2", "Pair 2"),
    ("pair_3", "Pair 3"),
    ("pair_4", "Pair 4"),
    ("orientation", "Orientation"),
    ("permutation", "Permutation"),
    ("closing_turn", "Closing turn"),
)
"""The eight stages of a solve, in the order of its message."""
_SECONDS: Final = {
    "device_class": "duration",
    "unit_of_measurement": "s",
    "state_class": "measurement",
    "suggested_display_precision": 2,
}
_STATES: Final = ["idle", "scrambling", "inspecting", "solving"]
_STAGE_EVENTS: Final = ["cross", "pair", "orient", "permute", "auf"]
_SOLVE_EVENTS: Final = ["solved", "unfinished"]
_NEEDED: Final = {"battery": BATTERY}
"""Entities that are there only when a state has a value."""


def birth_topic(prefix: str) -> str:
    """Where Home Assistant says that it is there."""
    return f"{prefix}/status"


def is_birth(payload: bytes) -> bool:
    """Whether it says so; anything else is nobody's business."""
    return payload == b"online"


def is_known(name: str, body: dict[str, Any]) -> bool:
    """Whether an entity waits for the state ``name`` to have a value, and this message has one."""
    if name == BATTERY:
        return body.get("percent") is not None
    return name in _NEEDED.values()


def configurations(
    tree: Tree, name: str, version: str, form: Form, prefix: str, known: Collection[str]
) -> list[tuple[str, str]]:
    """Topics and payloads, all retained, by which the desk called ``name`` introduces itself.

    ``known``: the states that have a value, see :func:`is_known`. An empty payload, or a component
    with nothing but its platform, takes an entity back.
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
    """The entities that are there, and those that may have been and are not."""
    there: dict[str, dict[str, Any]] = {}
    gone: dict[str, dict[str, Any]] = {}
    for key, entity in _components(tree).items():
        needed = _NEEDED.get(key)
        (there if needed is None or needed in known else gone)[key] = entity
    return there, gone


def _without_platform(entity: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in entity.items() if name != "p"}


def discovery_topics(tree: Tree, prefix: str) -> list[str]:
    """Every topic that a configuration of this desk may stand on, in either form."""
    single = [
        _entity_topic(tree, prefix, key, entity["p"]) for key, entity in _components(tree).items()
    ]
    return [_device_topic(tree, prefix), *single]


def _json(body: dict[str, Any]) -> str:
    return json.dumps(body, separators=(",", ":"), ensure_ascii=False)


def _device_topic(tree: Tree, prefix: str) -> str:
    return f"{prefix}/device/{_device(tree)}/config"


def _entity_topic(tree: Tree, prefix: str, key: str, platform: str) -> str:
    return f"{prefix}/{platform}/{_device(tree)}/{key}/config"


def _device(tree: Tree) -> str:
    return f"livecube_{tree.desk}"


def _shared(tree: Tree, name: str, version: str) -> dict[str, Any]:
    there = {"topic": tree.topic(AVAILABILITY), "value_template": "{{ value_json.state }}"}
    return {
        "dev": {"ids": [_device(tree)], "name": f"livecube {name}", "sw": version},
        "o": {"name": "livecube", "sw": version},
        "availability": [there],
    }


def _components(tree: Tree) -> dict[str, dict[str, Any]]:
    """The entities by their keys."""
    entities = {
        "last_solve": _last_solve(tree),
        **_stage_sensors(tree),
        **_technique_sensors(tree),
        "session": {
            "p": "sensor",
            "name": "Session",
            "device_class": "enum",
            "options": _STATES,
            "state_topic": tree.topic(SESSION),
            "value_template": "{{ value_json.state }}",
        },
        "battery": {
            "p": "sensor",
            "name": "Battery",
            "device_class": "battery",
            "unit_of_measurement": "%",
            "state_class": "measurement",
            "entity_category": "diagnostic",
            "state_topic": tree.topic(BATTERY),
            "value_template": "{{ value_json.percent }}",
        },
        "link": {
            "p": "binary_sensor",
            "name": "Link",
            "device_class": "connectivity",
            "entity_category": "diagnostic",
            "state_topic": tree.topic(LINK),
            "value_template": "{{ 'ON' if value_json.up else 'OFF' }}",
        },
        "stage_done": _event(tree, "Stage done", STAGE, _STAGE_EVENTS),
        "solve_over": _event(tree, "Solve over", SOLVE, _SOLVE_EVENTS),
    }
    return {
        key: entity | {"unique_id": f"{_device(tree)}_{key}"} for key, entity in entities.items()
    }


def _last_solve(tree: Tree) -> dict[str, Any]:
    return {
        "p": "sensor",
        "name": "Last solve",
        **_SECONDS,
        "state_topic": tree.topic(LATEST),
        "value_template": "{{ value_json.seconds if value_json.solved else None }}",
        "json_attributes_topic": tree.topic(LATEST),
        "json_attributes_template": "{{ {'turns': value_json.turns, 'cross': value_json.cross,"
        " 'solved': value_json.solved, 'solve': value_json.solve} | tojson }}",
    }


def _stage_sensors(tree: Tree) -> dict[str, dict[str, Any]]:
    """A stage that was never done has no seconds."""
    return {
        key: {
            "p": "sensor",
            "name": name,
            **_SECONDS,
            "state_topic": tree.topic(LATEST),
            "value_template": f"{{{{ value_json.stages[{n}].seconds"
            f" if value_json.stages[{n}].done else None }}}}",
        }
        for n, (key, name) in enumerate(_STAGES)
    }


def _technique_sensors(tree: Tree) -> dict[str, dict[str, Any]]:
    return {
        f"{key}_technique": {
            "p": "sensor",
            "name": f"{name} technique",
            "state_topic": tree.topic(LATEST),
            "value_template": f"{{{{ value_json.stages[{n}].technique }}}}",
        }
        for n, (key, name) in enumerate(_STAGES)
        if key.startswith("pair")
    }


def _event(tree: Tree, name: str, topic: str, types: list[str]) -> dict[str, Any]:
    """What is told again is no event: an empty payload is left alone."""
    return {
        "p": "event",
        "name": name,
        "event_types": types,
        "state_topic": tree.topic(topic),
        "value_template": "{{ '' if value_json.again else value }}",
    }

"""How a desk introduces itself to Home Assistant, by its MQTT discovery.

Two forms: one message for the whole device, or one for each entity, which instances before late
2024 know only. Both give the same entities the same ``unique_id``, which depends on the desk alone.
"""

from __future__ import annotations

import json
from typing import Any, Final, Literal, TypeAlias, get_args

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

__all__ = [
    "FORMS",
    "Form",
    "birth_topic",
    "configurations",
    "discovery_topics",
    "is_birth",
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


def birth_topic(prefix: str) -> str:
    """Where Home Assistant says that it is there."""
    return f"{prefix}/status"


def is_birth(payload: bytes) -> bool:
    """Whether it says so; anything else is nobody's business."""
    return payload == b"online"


def configurations(
    tree: Tree, name: str, version: str, form: Form, prefix: str
) -> list[tuple[str, str]]:
    """Topics and payloads, all retained, by which the desk called ``name`` introduces itself."""
    match form:
        case "off":
            return []
        case "device":
            body = _shared(tree, name, version) | {"qos": 1, "cmps": _components(tree)}
            return [(_device_topic(tree, prefix), _json(body))]
        case "entities":
            shared = _shared(tree, name, version) | {"qos": 1}
            return [
                (
                    _entity_topic(tree, prefix, key, entity["p"]),
                    _json(shared | {k: v for k, v in entity.items() if k != "p"}),
                )
                for key, entity in _components(tree).items()
            ]


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
    return {"p": "event", "name": name, "event_types": types, "state_topic": tree.topic(topic)}

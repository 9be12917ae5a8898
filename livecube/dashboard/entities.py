"""The entities of a desk in a home: the value of each, and the message that holds it.

In the form of Home Assistant's MQTT discovery, with its abbreviation ``p`` for the platform.
"""

from __future__ import annotations

from typing import Any, Final

from livecube.dashboard.drilling import HOW_WELL
from livecube.dashboard.figures import FIGURE_KINDS, FigureKind
from livecube.dashboard.topics import (
    BATTERY,
    BEAT,
    DRILL_LATEST,
    FINGERS,
    LATEST,
    LINK,
    SESSION,
    SOLVE,
    STAGE,
    STAGES,
    Tree,
)

__all__ = ["LIVE", "NEEDED", "device_of", "entities_of"]


def _figure_key(kind: FigureKind) -> str:
    return kind.name.replace("-", "_")


_STAGES: Final = (
    ("cross", "Cross"),
    ("pair_1", "Pair 1"),
    ("pair_2", "Pair 2"),
    ("pair_3", "Pair 3"),
    ("pair_4", "Pair 4"),
    ("orientation", "Orientation (OLL)"),
    ("permutation", "Permutation (PLL)"),
    ("closing_turn", "Closing turn (AUF)"),
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
_PENALTIES: Final = ["none", "+2", "+4", "DNF"]
NEEDED: Final = {
    "battery": BATTERY,
    "drill": DRILL_LATEST,
    "drill_time": DRILL_LATEST,
    "ring_fingers": FINGERS,
    "missed_beats": BEAT,
    **{_figure_key(kind): kind.topic for kind in FIGURE_KINDS},
}
"""Entities that exist only when a state has a value."""

LIVE: Final = ("session", "link", "battery")
"""Entities of the present state of a desk. The others hold last values, which stay true when nobody
sits at the desk."""


def device_of(tree: Tree) -> str:
    """The desk's identifier as a device; it depends on the desk alone."""
    return f"livecube_{tree.desk}"


def entities_of(tree: Tree) -> dict[str, dict[str, Any]]:
    """The entities by their keys."""
    entities = {
        "last_solve": _last_solve(tree),
        **_judgement(tree),
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
        **{_figure_key(kind): _figure_sensor(tree, kind) for kind in FIGURE_KINDS},
        **_drill_sensors(tree),
        **_round_sensors(tree),
    }
    return {
        key: entity | {"unique_id": f"{device_of(tree)}_{key}"} for key, entity in entities.items()
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


def _judgement(tree: Tree) -> dict[str, dict[str, Any]]:
    """The result of the last solve. Without a judgement it is the time."""
    return {
        "last_result": {
            "p": "sensor",
            "name": "Last result",
            **_SECONDS,
            "state_topic": tree.topic(LATEST),
            "value_template": "{{ value_json.result_seconds if value_json.penalty is defined else"
            " value_json.seconds if value_json.solved else None }}",
            "json_attributes_topic": tree.topic(LATEST),
            "json_attributes_template": "{{ {'penalties': value_json.penalties | default([]),"
            " 'discarded': value_json.discarded | default(false)} | tojson }}",
        },
        "last_penalty": {
            "p": "sensor",
            "name": "Last penalty",
            "device_class": "enum",
            "options": _PENALTIES,
            "state_topic": tree.topic(LATEST),
            "value_template": "{{ value_json.penalty | default('none') }}",
        },
    }


def _figure_sensor(tree: Tree, kind: FigureKind) -> dict[str, Any]:
    measured = {"unit_of_measurement": kind.unit, "state_class": "measurement"}
    return {
        "p": "sensor",
        "name": kind.title,
        **(_SECONDS if kind.is_duration else measured),
        "state_topic": tree.topic(kind.topic),
        "value_template": "{{ value_json.value }}",
        "json_attributes_topic": tree.topic(kind.topic),
        "json_attributes_template": "{{ {'solves': value_json.solves} | tojson }}",
    }


def _drill_sensors(tree: Tree) -> dict[str, dict[str, Any]]:
    topic = tree.topic(DRILL_LATEST)
    return {
        "drill": {
            "p": "sensor",
            "name": "Last drill",
            "device_class": "enum",
            "options": list(HOW_WELL),
            "state_topic": topic,
            "value_template": "{{ value_json.how_well }}",
            "json_attributes_topic": topic,
            "json_attributes_template": "{{ {'technique': value_json.technique, 'grade':"
            " value_json.grade, 'case': value_json.case, 'turns': value_json.turns} | tojson }}",
        },
        "drill_time": {
            "p": "sensor",
            "name": "Last drill time",
            **_SECONDS,
            "state_topic": topic,
            "value_template": "{{ value_json.seconds }}",
        },
    }


def _round_sensors(tree: Tree) -> dict[str, dict[str, Any]]:
    fingers, beat = tree.topic(FINGERS), tree.topic(BEAT)
    return {
        "ring_fingers": {
            "p": "sensor",
            "name": "Ring fingers",
            "unit_of_measurement": "turns/s",
            "state_class": "measurement",
            "suggested_display_precision": 1,
            "state_topic": fingers,
            "value_template": "{{ value_json.turns_per_second }}",
            "json_attributes_topic": fingers,
            "json_attributes_template": "{{ {'variation': value_json.variation, 'left':"
            " value_json.left_turns_per_second, 'right': value_json.right_turns_per_second,"
            " 'slips': value_json.slips} | tojson }}",
        },
        "missed_beats": {
            "p": "sensor",
            "name": "Missed beats",
            "unit_of_measurement": "turns",
            "state_class": "measurement",
            "state_topic": beat,
            "value_template": "{{ value_json.missed }}",
            "json_attributes_topic": beat,
            "json_attributes_template": "{{ {'of_turns': value_json.turns, 'empty_beats':"
            " value_json.empty, 'beats_per_second': value_json.beats_per_second,"
            " 'solved': value_json.solved} | tojson }}",
        },
    }


def _stage_sensors(tree: Tree) -> dict[str, dict[str, Any]]:
    """Sensors of the stages; a stage that is not done has no seconds."""
    return {
        key: {
            "p": "sensor",
            "name": name,
            **_SECONDS,
            "state_topic": tree.topic(STAGES),
            "value_template": f"{{% set stage = value_json.stages[{n}] %}}"
            "{{ stage.seconds if stage and stage.done else None }}",
        }
        for n, (key, name) in enumerate(_STAGES)
    }


def _technique_sensors(tree: Tree) -> dict[str, dict[str, Any]]:
    return {
        f"{key}_technique": {
            "p": "sensor",
            "name": f"{name} technique",
            "state_topic": tree.topic(STAGES),
            "value_template": f"{{% set stage = value_json.stages[{n}] %}}"
            "{{ stage.technique if stage else None }}",
        }
        for n, (key, name) in enumerate(_STAGES)
        if key.startswith("pair")
    }


def _event(tree: Tree, name: str, topic: str, types: list[str]) -> dict[str, Any]:
    """An event entity; messages sent again give an empty payload, which is ignored."""
    return {
        "p": "event",
        "name": name,
        "event_types": types,
        "state_topic": tree.topic(topic),
        "value_template": "{{ '' if value_json.again | default(false) else value }}",
    }

"""Trends as one JSON object. Keys are stable."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from livecube.trends.values import SPLITS

if TYPE_CHECKING:
    from livecube.trends.values import Figure, Interval, Period, Trends, Uptake

__all__ = ["trends_json"]


def trends_json(trends: Trends) -> dict[str, Any]:
    """The object of trends; times in seconds."""
    return {
        "solves": trends.solves,
        "times": trends.times,
        "first": trends.first,
        "last": trends.last,
        "resampled": trends.resampled,
        "figures": [_figure(one) for one in trends.figures],
        "distribution": [
            {"from": low, "to": high, "solves": count} for low, high, count in trends.counts
        ],
        "periods": [_period(one) for one in trends.periods],
        "reviewed": trends.reviewed,
        "left": None if trends.left is None else _interval(trends.left),
        "techniques": [_uptake(one) for one in trends.techniques],
        "slots": [_uptake(one) for one in trends.slots],
    }


def _interval(one: Interval) -> dict[str, float | None]:
    return {"value": _rounded(one.value), "low": _rounded(one.low), "high": _rounded(one.high)}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6)


def _figure(one: Figure) -> dict[str, Any]:
    change = None
    if one.change is not None:
        change = {
            "before": _rounded(one.change.before),
            "after": _rounded(one.change.after),
            "difference": _interval(one.change.difference),
            "verdict": one.change.verdict,
        }
    return {"name": one.name, "unit": one.unit, **_interval(one.whole), "change": change}


def _period(one: Period) -> dict[str, Any]:
    return {
        "name": one.name,
        "solves": one.solves,
        "times": one.times,
        "mean": None if one.mean is None else _interval(one.mean),
        "best": one.best,
        "deviation": _rounded(one.deviation),
        "splits": None
        if one.splits is None
        else {name: _rounded(value) for name, value in zip(SPLITS, one.splits, strict=True)},
        "pause": _rounded(one.pause),
    }


def _uptake(one: Uptake) -> dict[str, Any]:
    return {
        "name": one.name,
        "came": one.came,
        "taken": one.taken,
        "share": _interval(one.share),
        "left": _interval(one.left),
    }

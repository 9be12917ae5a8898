"""The profiles that tests use: the two invented cubes, and a small one."""

from __future__ import annotations

from pathlib import Path

from livecube.profiles.parsing import parse_profile

ROOT = Path(__file__).parent.parent
NAMES = ("skerry", "cairn")
TEXTS = {name: (ROOT / f"protocols/{name}.toml").read_text(encoding="utf-8") for name in NAMES}
PROFILES = {name: parse_profile(text, f"{name}.toml") for name, text in TEXTS.items()}
EVENTS = "9c0b4f0e-5d0a-4b43-8a0c-0c1f5f3f6a01"

PLAIN = f"""
profile = 1
name = "plain"
order = "big"
[claim]
name = "PLAIN"
[clock]
per_second = 100
[turns]
"U" = 1
"R'" = 2
"F2" = 3
[[packet]]
from = "{EVENTS}"
length = 4
counter = {{ at = 0, bits = 4 }}
clock = {{ at = 0, bit = 4, bits = 12 }}
turn = {{ at = 2, bits = 8, count = 2, stride = 8, none = 0 }}
"""

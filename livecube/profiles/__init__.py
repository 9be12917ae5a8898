"""Cubes described by a TOML file instead of code (``protocols/README.md``, *Profiles*). Pure."""

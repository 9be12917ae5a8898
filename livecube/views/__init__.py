"""Screens, lines, pages and JSON objects, as values and text. Pure."""

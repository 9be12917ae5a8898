"""The log format, version 1: events as lines of JSON. Pure; files are read and written in edges."""

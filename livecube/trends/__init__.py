"""Figures of many solves, their changes, and whether the changes are significant. Pure."""

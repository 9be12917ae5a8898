"""Turns that were lost on the way from the cube: found, worked out if that can be, else marked."""

"""Turns lost on the way from the cube: noticed, and worked out if possible, or else marked."""

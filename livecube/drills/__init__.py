"""Drills: positions in which one technique is the best choice, judged and asked again in time."""

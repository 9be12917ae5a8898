"""Drills: positions in which one technique is best, tries judged, cases repeated when due."""

"""A virtual speed-solver: solves as people do, with the truth about every stage.

It shares nothing with the tracker but the cube itself, so it can judge it. Pure: numbers
from one seeded generator in, values out.
"""

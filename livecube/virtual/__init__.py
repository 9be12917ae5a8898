"""A virtual speed-solver: solves as people do, with the truth about every stage.

It shares only the cube itself with the tracker, so it can judge the tracker. Pure: numbers from
one seeded generator in, values out.
"""

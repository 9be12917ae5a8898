"""Following a cube: position, solves, stages, splits. Pure."""

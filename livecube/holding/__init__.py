"""How the cube is held, worked out from the turns alone."""

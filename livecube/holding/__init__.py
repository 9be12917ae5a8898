"""The holding of the cube, inferred from the turns alone."""

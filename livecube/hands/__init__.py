"""How long the hands need for moves: a model as data, and the code that applies it. Pure."""

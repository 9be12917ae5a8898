"""Scrambles: random states, the turns that lead to them, and following a person who turns them."""

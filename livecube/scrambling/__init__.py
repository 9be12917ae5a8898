"""Scrambles: random states, the turns that lead to them, and whoever follows these turns."""

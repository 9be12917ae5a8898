"""Edges: everything that touches files, screens, clocks and the network. Thin."""

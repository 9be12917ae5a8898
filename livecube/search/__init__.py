"""Exact search: distance tables, one constrained search kernel, situations. Pure (numba)."""

"""Techniques: when each is possible and what it asks of the search. One small module each."""

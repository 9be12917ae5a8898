"""Advice: the techniques that are possible now, their seconds, and sentences. Pure."""

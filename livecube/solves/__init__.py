"""Solves as they are kept and shown: values, and reading them from a log. Pure."""

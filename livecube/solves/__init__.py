"""Solves as they are kept and shown: values, and how a log becomes such values. Pure."""

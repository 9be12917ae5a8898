"""The composition: what wires sources, pipeline and sinks together."""

"""The composition: wires sources, pipeline and sinks together."""

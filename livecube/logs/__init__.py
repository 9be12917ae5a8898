"""The log format, version 1: events as lines of JSON. Pure; files are an edge's business."""

"""livecube follows a speed-solver's cube turn by turn and says what has become possible."""

__version__ = "0.1.0"
__all__ = ["__version__"]

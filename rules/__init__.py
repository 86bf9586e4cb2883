"""The shipped rulebook. Data; this is its only code."""

from pathlib import Path


def root() -> Path:
    """Folder of the shipped rulebook."""
    return Path(__file__).parent

"""What the shell is told, and what ends a command before it has begun."""

CLEARED = 0
HELD = 1
BAD_INPUT = 2


class WrongPackage(RuntimeError):
    """Another package is installed where one of ours should be."""

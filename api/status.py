"""Exit statuses: what the shell is told."""

CLEARED = 0
HELD = 1
BAD_INPUT = 2

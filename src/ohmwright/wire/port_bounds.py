"""Bounds of every port, in the engine's process as in the guard's."""

from __future__ import annotations

OPEN_TIMEOUT_S = 5.0
"""Longest that a line may need to open; no source."""
WRITE_TIMEOUT_S = 1.0
"""Longest that a line may need to take a message; no source."""
CHUNK = 65536
"""Most bytes of one read; what is left is read at the next look."""

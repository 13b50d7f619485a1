"""Lines to instruments: in memory, serial, TCP, VISA."""

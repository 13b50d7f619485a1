"""The fault harness: whole runs that meet faults, held against the simulator's truth."""

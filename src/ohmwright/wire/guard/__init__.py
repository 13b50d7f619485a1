"""The guard: a process of its own that owns the port and sends OFF when the engine is gone."""

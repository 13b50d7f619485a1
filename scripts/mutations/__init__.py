"""How many small changes of the arithmetic do the tests notice? Run as `scripts/mutate`."""

"""Invented instruments, each with a short manual and a port of its own on a pseudo-terminal.

They share nothing with the program under test, which is why none of them imports it: `plant` is
their physics, `port` their serial port, `tamsin`, `brindle` and `sedge` are analyzers, `osier` is a
generator. `files/` holds what an owner would write from each manual.
"""

"""Analyzers and generators worked by code of other packages, which is believed no more than a line.

Read in this order:

    base            what such code derives from: methods named as the messages of a command set
    line            the line that it is given: bytes out and in, for one call at a time
    installed       back ends found by their entry points
    chosen          one of them, with the options of a data file
    calls           its methods called in a thread, in bounded time
    checked         what they return, held against what it should be
    verified_calls  asked until two answers agree, settings read back
    release_line    OFF and its read-back by the guard's own orders
    analyzer, generator   the abstract instruments made of all this
    opening         made ready on a line

Decisions that bind this room; all are in force.

**OFF needs none of the code.** A back end hands over its release orders as bytes, by which guard
and engine switch off and read the state. Why: code that hangs, fails or lies must not hold RF on.
Without orders, or where the code opens a way of its own, there is no guard, and screen, record and
paper say so. Rejected: to let the guard load the code. Held by tests/back_ends/test_back_end.py.

**A method is a plain function in a thread of its own,** given up after its time; the line is taken
from it then. Why: whoever writes one knows a library that blocks, and no event loop. Rejected:
async methods, which block everything where they sleep the wrong way; a process of its own, which
every error and object would have to cross. Held by tests/back_ends/test_calls.py.

**Its failures are those of a line.** Whatever is raised, returned or not returned ends as one of
the errors of model.errors; nothing is a value that was not checked. Held by
tests/back_ends/test_back_end.py.

**Its text is part of the record,** with name and version of its package, and must be the same when
a run is resumed. Held by tests/back_ends/test_back_end.py.
"""

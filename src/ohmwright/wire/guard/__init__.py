"""The guard: a process of its own that owns the analyzer's port and sends OFF.

Read in this order:

    frames      the messages between engine and guard
    orders      what a guard is told: the bytes of OFF, and which replies mean off
    current_orders   how it asks the meter whether a current flows
    making_orders   makes both from a command set and the meter's data
    process     the guard: relays bytes, watches for silence, has the output released
    port_release   OFF, sent over the guard's port and read back
    ports       the guard's blocking view of a serial, TCP or VISA port
    launcher    starts a guard in a session of its own
    channel     the engine's end of the socket to one guard
    link        a line through a guard, and another guard after one that was lost
    opening     opens a serial, TCP or VISA port through a guard

Decisions that bind this room; all are in force.

**A guard owns the analyzer's port.** Why: when the engine is killed, its release does not run. The
guard sends OFF and reads it back twice when the engine's socket ends, when frames stay away, or
when it is told to stop; and only between the promise made before ON and a confirmed release, so
that an instrument that was never asked to switch on hears nothing from it. The generator's port
keys nothing and has none. Rejected: a thread, which dies with its process; a heartbeat timer,
which beats on while the engine hangs. Held by tests/wire/guard/test_guard.py;
`scripts/faults --only kills` and `--only guards`.

**Where nobody is left, the meter is asked, too.** A contact that reads open is not RF that is off:
a guard whose engine is gone, or says nothing when it is told of a trip, asks for the current until
one that went with OFF has faded, and warns a person where it stays, as where the contact does. Only
what a meter says in plain digits is read; a meter that says nothing is no warning. While the engine
lives, the current is the release's. Held by tests/wire/guard/test_current_orders.py and
test_guard.py.

**A heartbeat is the dialogue itself:** each frame, and each wait for a reply that stayed silent.
The promise is the question's time-out, two readings and 0.5 s, in the machine's time; a sleep of
the machine counts, and the promise is judged before the frames that waited meanwhile. After a
trip nothing of the engine's passes until it has acknowledged the trip, so that a late ON cannot
follow it. Held by tests/wire/guard/test_guard.py.

**The guard stays awake for 0.3 ms after each message,** since one seldom comes alone and to be
woken costs a good part of a question. Else it waits for bytes or a signal without end, and looks up
every 20 ms only while it watches, when the machine may have slept. A serial port of Windows, which
nothing can wait on, is read by a thread; a VISA resource waits 20 ms in its own read. Held by
tests/wire/guard/test_guard.py and test_windows.py.

**On Windows the guard is the process that was started, and has no console** (`launcher`). Why: the
python.exe of a virtual environment only starts another process, which could not take the socket;
and a console that is closed ends every program in it. Its warning is a message box there. Written
from Python's and Windows's documents, and not seen on Windows; what can be seen elsewhere is held
by tests/wire/guard/test_windows.py.

**A lost line is looked for again within the release,** for four seconds, always by starting a
guard: by the adapter's serial number (remembered where a port was named), else by the name.
Whether the guard died or the port went makes no difference. The lock is kept, the promise is made
to the new guard, OFF is sent and read back from the same instrument, and the run ends as a fault.
Rejected: to reopen the port in the engine, which would be unguarded. Held by
tests/wire/guard/test_guard.py; `scripts/faults --mutate found-again`.
"""

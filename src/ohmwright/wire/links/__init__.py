"""Lines to instruments, one kind a module.

Read in this order:

    failures      what every kind of line says when it fails
    memory        a simulated instrument in the same process
    arrivals      bytes that come on a descriptor, taken by the event loop as they come
    descriptor    lines that the event loop can wait for; base of serial and tcp
    threaded      lines that only block; base of visa, and of serial on Windows
    serial, ports a serial port, and the serial ports of this machine
    tcp           a raw TCP socket
    visa          a VISA resource

**A cancelled read loses no byte** (in force). What the event loop takes from a descriptor is kept
until it is asked for; a blocking line is owned by one thread that keeps what a cancelled read still
brings. Rejected: a thread a read, which can take bytes that nobody waits for any more. Held by
tests/wire/links/test_contract.py, which every kind of line passes, and test_arrivals.py.

**A descriptor stays registered with the event loop** (in force). To register it for each reply,
with a cancel scope for its time limit, took three times what a quick reply takes
(scripts/bench/link.py). Rejected: a blocking wait of some 0.1 ms before the event loop is asked,
which would win little with real instruments and hold up every other bench.
"""

"""Lines to instruments, one kind a module.

Read in this order:

    failures      what every kind of line says when it fails
    memory        a simulated instrument in the same process
    descriptor    lines that the event loop can wait for; base of serial and tcp
    threaded      lines that only block; base of visa, and of serial on Windows
    serial, ports a serial port, and the serial ports of this machine
    tcp           a raw TCP socket
    visa          a VISA resource

**A cancelled read loses no byte** (in force). A line with a descriptor takes bytes and returns them
without a pause between; a blocking line is owned by one thread that keeps what a cancelled read
still brings. Rejected: a thread a read, which can take bytes that nobody waits for any more. Held
by tests/wire/links/test_contract.py, which every kind of line passes.
"""

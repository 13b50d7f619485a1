"""The terminal: commands, what they print, and how they end.

Read in this order:

    main, options               the program and its options; heavy imports wait until needed
    jobs, benches, offline      its commands, and in record_app and keys_app those on records
    bench_data, open_bench      a bench as the command line names it, read, then opened
    run_command, drive          one run from start to exit code: every event kept, then shown
    live, status_line           how far a run is, and how RF stands
    terminal_operator, keyboard       requests to the person, and what they type
    telling, crash              how every command that fails ends
    streams, console            output that holds nothing up
    the *_command modules       one a command

Decisions that bind this room; all are in force.

**Signals cancel once.** INT, TERM and HUP cancel the run's scope, unless the parent had them
ignored (nohup); later ones change nothing, so that they cannot cut a release short.
Held by tests/cli/test_streams.py and
tests/cli/test_live.py.

**Nobody need be at the terminal any more** (`streams`). A thread of each stream writes, so that a
held terminal or a pipe that nobody reads holds up neither release nor record nor exit: whoever
prints waits 0.25 s at most, the exit as long as the reader needs, but 2 s once a signal asked for
a stop. What goes to a reader who is gone is dropped, which changes neither a run nor its exit
code. Results without room (a full disk) are an error of code 2. Held by tests/cli/test_streams.py.

**A crash is told like any other error** (`crash`, code 70): one message, the trace in a log file,
and what was last read of RF. Only RF that is not known goes before it, with code 5. Code 1 is a
verdict, so nothing that typer or Python would end with 1 gets through. Held by
tests/cli/test_crash.py.

**The live view says nothing that time has made untrue** (`status_line`): it is drawn from the last
moment and the bench's clock, by a thread of its own, so that a stopped terminal holds up no
reading. RF counts as on until it was read back as off. Held by tests/cli/test_live.py.

**A request is shown, left standing for 0.3 s, and only then is the keyboard emptied and read:** a
second answer typed at once cannot belong to it. The terminal stays in its line mode, so its own
echo tells what was typed when. Held by tests/cli/test_typing.py.

**One reading of a bench** (`bench_data`): lint, doctor and every run read the same files and refuse
with the same words. `doctor` says good only of what it saw. Held by
tests/cli/test_lint_reads_all.py.
"""

"""Invented hardware in closed form that answers SCPI text, as a real bench would.

Read in this order:

    profile, randomness, unit       a model's ranges; draws by seed and name; one unit as drawn
    ageing                          how a unit's sense gains drift over the months
    output_stage, waveforms         static output law; waveforms of the modes
    dynamics                        dead time, lag, droop and hunting within an activation
    load_bank, meter, capture       the analyzer's load, readings and waveform captures
    contact_quality                 the generator's monitor of the neutral electrode
    generator                       the generator's panel state, service mode and trims
    circuit, plant, rig             what drives what; time moved on; who keys, and when it ends
    bench_defects                   faults of the bench that are no fault of a line
    scpi_text, scpi_errors, dispatcher   the instrument's side of SCPI
    analyzer_commands, generator_commands   the messages each instrument understands
    open_form                       the form in which they are spoken to, whatever the real ones
    analyzer_front                  the analyzer's knobs and display, for hands and eyes
    identities                      what the instruments say that they are
    bench, panel, truth, operator   a whole bench; its front panel; the true values; a person
    cued_hands                      how that person acts on cues, in their own time, with slips
    direct_readings, direct_analyzer             an analyzer read without a line, for rehearsals
    distortions, faults, faulty_port, faulty_bench   faults of a line
    bench_ports, serve_pty, serve_tcp, remote_clock   a bench served to other processes

Decisions that bind this room; all are in force.

**Nothing happens by itself.** Whoever asks first lets the bench catch up with its clock, and what
happened meanwhile depends on seed and commands, never on how often somebody looked. Rejected: a
simulation that ticks in a thread. Held by tests/simulator/test_bench.py.

**Every draw has a stream of its own** (`randomness`), named by its parameter, so that a new
parameter changes no other value. Held by tests/simulator/test_randomness.py.

**The truth is kept apart from what instruments answer** (`truth`). Only tests, rehearsals and the
fault harness read it; the import contract keeps the engine from importing this room. Held by
lint-imports.

**What a job asks most often can be had without bytes** (`direct_analyzer`). A rehearsal asks state
and current some thousands of times a unit; formatted, parsed and asked twice they took a sixth of
its time. The values are the same, digit for digit, and every command still goes over the line.
Held by tests/rehearsal/test_unit_run.py.

**A stepped bench.** A simulated bench served to another process can have its time moved by the
client over a control port, so that a run over a pty or TCP gives the same readings, digit for
digit, in a fraction of the time. Rejected: only real time, in which a job takes an hour. Held by
tests/simulator/test_serving.py and test_remote_clock.py.

**A served bench in real time has no certificate:** the shipped, invented certificates are in date
on the virtual clock's date only. Held by tests/cli/test_served.py.

**A fault wraps a simulated port, not a link** (`faulty_port`). What it does to bytes is then
the same in process, over a pty, over TCP and through a guard; the harness, `--fault` and the tests
share one syntax. A port that is unplugged raises ConnectionError: in process the line is lost for
good, a TCP client is hung up on and may call again, a pseudo-terminal vanishes and comes back as
another device. Rejected: faulty links, which the production code would not meet. Held by
tests/simulator/test_faults.py and test_serving.py.
"""

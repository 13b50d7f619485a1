"""What the engine works with: analyzer, generator and operator, as verbs, and their back ends.

Read in this order:

    bench                               what stands on the table, opened
    analyzer, generator                 the abstract instruments
    remote_analyzer, remote_generator   back ends that speak through a command set
    requests, operator                  what a person can be asked; how their replies are heard
    hand_operated, absent_operator      a generator without a port; a run that nobody attends
    rf_monitor                          what was last read of RF
    required_messages                   the messages of a command set that an ability needs
    conformance, conformance_kit, conformance_off, conformance_on, conformance_generator
                                        checks that every back end and command set must pass
    back_ends/                          analyzers and generators that code of other packages works

Decisions that bind this room; all are in force.

**RF is what was read last** (`rf_monitor`, `model.rf_state`). A current counts as none where it is
no more than the meter shows with the output off, and three digits; that zero is read at first
contact and accepted up to five digits (`meter.zero_ma` in the analyzer's data where its manual
says otherwise). Rejected: to conclude the state of RF from the kind of an error. Held by
tests/engine/test_rf.py.

**Protections are said as they are** (`RemoteAnalyzer.protections`): from the command set, the
analyzer's data and the line, at each start and resumption. Data and command set that contradict
each other about the limit that ON carries are refused. Held by
tests/instruments/test_protections.py and tests/engine/test_protections_kept.py.

**Every request names its answers** (`requests`, `operator`). `Operator.carry_out` hears them, and
stop, back, skip and comments, in one place; a kind of operator only has `reply`. All that is said
is kept, also that nothing was. Stop, back and skip are exceptions, since they leave an open
activation by its own way out. Rejected: each kind of operator with a parser of its own. Held by
tests/engine/test_people.py and tests/cli/test_typing.py.

**The verbs of an instrument decide what it can do** (`required_messages`). What a step needs is
asked of the command set beside the capabilities, before anything is switched on. Held by
tests/engine/test_told_rightly.py.

**One kit for every back end** (`conformance`). It never switches RF on by itself: it is handed the
one way to do so. OFF must open what reads closed, the limit sent with ON must end an activation.
Held by tests/engine/test_conformance.py.
"""

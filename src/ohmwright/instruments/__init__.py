"""What the engine works with: analyzer, generator and operator, as verbs, and their back ends.

Read in this order:

    bench                               what stands on the table, opened
    analyzer, generator                 the abstract instruments
    remote_analyzer, remote_generator   back ends that speak through a command set
    chosen_setting                      whether a unit still says what was chosen through its port
    guard_proof                         the guard is made to send OFF, and what that did is read
    running_limit                       the limit read back after ON against the one sent
    requests, operator                  what a person can be asked; how their replies are heard
    doubt_requests                      what is asked where readings or a load are in doubt
    hand_worked_analyzer                an analyzer of which a person does a part or all:
    foot_switch, typed_meter              what keys it and what it shows, through a person
    answer_requests                       a figure, words or a choice for a procedure's step
    hand_requests                         what that person is asked
    hand_operated, absent_operator      a generator without a port; a run that nobody attends
    rf_monitor                          what was last read of RF
    plausible_current                   whether a reading can be what setting and load drive
    declared_protections                what data, command set, line and person protect from
    required_messages                   the messages of a command set that an ability needs
    conformance, conformance_kit, conformance_off, conformance_on, conformance_generator
                                        checks that every back end and command set must pass
    back_ends/                          analyzers and generators that code of other packages works

Decisions that bind this room; all are in force.

**RF is what was read last** (`rf_monitor`, `model.rf_state`). A current counts as none where it is
no more than the meter shows with the output off, and three digits; that zero is read at first
contact and accepted up to five digits. What is no more than the zero that the data state
(`meter.zero_ma`, from its manual) is never RF. With a foot switch no current is the only sign of
off, and proves it once a current that is due (`plausible_current`) was read with RF on since the
bench was opened: in the wrong unit RF would read as none. Rejected: to conclude the state of RF
from the kind of an error. Held by tests/engine/test_rf.py and tests/engine/test_by_hand.py.

**Protections are said as they are** (`RemoteAnalyzer.protections`): from the command set, the
analyzer's data and the line, at each start and resumption. Data and command set that contradict
each other about the limit that ON carries are refused. Held by
tests/instruments/test_protections.py and tests/engine/test_protections_kept.py.

**What a person does is nobody's protection** (`hand_worked_analyzer`). A foot switch is bounded by
the person alone: no limit, no guard and no read-back of a state count, and NO GUARD is said. RF is
off when a reading says so; a typed one is as told by. Nothing typed where it is asked whether
RF is off can leave that question open: stop, back and skip are carried out after it. Typed readings
are not asked for in rests. Rejected: to take the person's word that the switch is up; to ask once
a second. Held by tests/engine/test_by_hand.py.

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

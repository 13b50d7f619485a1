"""Bytes to and from one instrument over a line that can fail at any byte.

Read in this order:

    event_loop              the event loop that lines and clocks need
    clock, paced_clock, machine_time
                            a bench's clock: real, virtual, or virtual at a person's pace; the
                            machine's own time
    machine_priority        before other programs of the machine, where it lets that
    link                    what any line can do: write, read, close, and how it is guarded
    links/                  lines: in memory, serial, TCP, VISA
    scpi                    numbers, strings and blocks of SCPI-1999 and IEEE 488.2
    checksums, frame_layout what stands around a message on the line
    verbs, field_names      what can be asked and told; what the fields of a message stand for
    message_parts, field_codec   literal bytes and fields, written and read
    unsayable               what a command set would say in vain
    exchange                one message, filled in or read, and the replies that may come to it
    command_messages, frame, serial_format, message_compiler, command_set
                            how one kind of instrument is spoken to, as data
    framing, hints          whole replies out of a stream of bytes; advice where none came
    line_proof, nonces      proof that a line is in step
    conversation            message, echo, reply and stream on a line that is in step
    dialogue                questions and commands, one at a time, over a line that may fail; when
                            a reply may be believed
    off                     OFF, whatever state the line is in, and the answer to it
    verified_dialogue       answers and settings that a single fault on the line cannot falsify
    probing                 one question after the other, with RF off, for `probe`
    forks, worker_process   what a fork of this process closes; a process that works for another
    portlock, addresses     one program a port, whatever name the port goes by
    visa_session            a VISA session that loses no byte
    loopback                addresses that only this machine reaches
    port_bounds             how long a port may take to open and to write, engine's or guard's
    guard/                  a process that owns the analyzer's port and sends OFF

Decisions that bind this room; all are in force.

**The clock lives here.** Why: a link that times out on a simulated bench must advance the same
clock as a sleep. Rejected: a room of its own above, which links could not import. Held by the
lint rule that bans `time`, `datetime.now` and `sleep` elsewhere (pyproject.toml).

**A virtual clock advances when somebody sleeps on it.** Why: one task uses a bench, so there is
nobody to wait for; no timers of the event loop, no threads. The event loop gets a turn every 16
sleeps, which is when a cancellation is heard; tests make that every sleep. Rejected: timers of a
patched event loop, which jump while a thread works. Held by tests/engine/test_activation.py.

**A line is synced, suspect or lost** (`dialogue`). A timeout, a cancellation, garbage, or bytes
that wait though nothing was asked make it suspect: it is drained, and its proof must hold, before
the next question. Only questions that change nothing are repeated; a command never is, save OFF.
Held by tests/wire/test_dialogue.py and test_cancelled_dialogue.py.

**What proves a line follows from its command set** (`line_proof`): an echoed nonce, an echo, a
checksum, two questions of unlike form, a silence. Why: most instruments can echo no number.
Each proof says as data what it can and cannot find; a line counts as proved where one shows that
replies belong to their messages and one that bytes arrive as sent. Rejected: to demand a nonce,
which refused most instruments. Held by tests/wire/test_line_proof.py;
`scripts/faults --only dialects`.

**A reading carries its number where the instrument numbers them,** so that a repeated, late or
foreign reply shows itself. Rejected: to trust the order of replies. Held by
tests/wire/test_message_text.py and tests/engine/test_sampling.py.

**Engine and guard frame and read messages by the same rules** (`frame_layout`, `guard/orders`).
Why: an OFF that the guard frames wrongly is none, and a damaged reply must not read as off. The
guard is given bytes, a layout and two regular expressions, so that it needs nothing but the
standard library. Held by tests/emulators/test_driven_by_data.py.

**Nothing is taken on one reply's word** (`verified_dialogue`). Why: most protocols have no
checksum, so a flipped digit makes another well-formed reply. Questions are asked until two replies
in a row agree; settings are read back; after ON the limit that runs is read back; before ON a
ceiling for that limit is set and read back. That costs one question more a reading. Where a meter
is quicker than the line, no two are the same: then a numbered reading is believed that goes on as
the two before it. A waveform is asked for once: its scatter tells. A command set without a ceiling
leaves a gap: one flipped bit in ON may hold RF on for longer on a line that then takes no OFF.
Rejected: asking once; to end a run since the computer was busy.
Held by tests/wire/test_verified_dialogue.py and tests/engine/test_quick_meters.py;
`scripts/faults --mutate asking-twice`.

**A line is proved at both ends of everything recorded** (`nonces`). `identify` has two nonces
echoed whose digits show every bit both set and cleared, then asks for the identity, which must be
what it was. Why: that finds what asking twice cannot, a stuck bit, replies one behind, another
unit answering. Another unit that answers from the first message on is itself in every way; only
`identity` in the bench file can tell. Held by tests/wire/test_nonces.py and
test_verified_dialogue.py; `scripts/faults --mutate proof`.

**A command set is data.** Literal text and named fields, nothing that runs; a name that could end
its message and begin another is refused. A field's name ends with its unit, by which it is
converted; a value that its format cannot carry is refused, a limit rounded down. `format` is its
version; the plain form 1 is the same thing with the replies left out. Held by
tests/wire/test_command_set.py and test_message_text.py.

**Locks are for what an address means** (`addresses`, `portlock`): each address of a host name, this
machine's own as one, the device behind a symbolic link, the same through VISA, for all users of
the machine. An instrument on two networks, or reached both as a raw socket and as VXI-11 or
HiSLIP, has two locks. Rejected: a lock by the name that was typed. Held by
tests/wire/test_addresses.py and test_portlock.py.
"""

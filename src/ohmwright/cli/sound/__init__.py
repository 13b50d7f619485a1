"""What a person hears of a run whose hands and eyes are at the unit.

    tones       the sounds, as notes and as WAV files: standard library alone
    listener    which sound belongs to what is seen and told: pure
    programs    which programs of this computer play a sound and speak
    helper      the process that plays; run by `python -m ohmwright.cli.sound.helper`
    sounding    the helper started, fed without waiting, and ended

**A sound never holds up a run.** The run writes a line to a pipe that takes it at once or not at
all; what the pipe does not take is not heard. Why a process of its own: to start a program from
the one that has RF on costs time, and a sound card that hangs must hang alone.
Held by tests/cli/test_sound.py.
"""

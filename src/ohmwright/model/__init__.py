"""Data that all rooms share: bench files, hardware, points and tolerances, results, events.

Frozen pydantic models with no behaviour beyond validation. Read in this order:

    base                    the base of every model: frozen, and unknown keys refused
    errors                  every error a person can meet, with its exit code
    seen_text, typed_command               texts as a person sees them, and types a command
    source, positions, unknown_keys        TOML files: complaints with line and column
    toml_text, syntax_causes               a text as a table; the likely cause where it is none
    complaint_words, value_forms           plain words for what is wrong with a value
    placed_complaints                      all that is wrong with a document, each at its place
    text_limits             the bounds of a data file
    shipped, account        where shipped data lies; who the operating system says is at work
    hardware                what an analyzer and a generator can do
    by_hand                 what a person does in the analyzer's place
    bench_file              what stands on the table and how it is reached
    analyzer_certificate, traceability   the analyzer's calibration, and what a result rests on
    quantity, tolerance, decision        what is measured; limits around it; decision rules
    step                    stages, times and points, of which steps of a procedure are made
    document, paper         a file that a run went by, in full text; what papers state beside it
    registered_asset, spreadsheet   a unit as the register of assets holds it; cells of a CSV file
    attachment, given_values, assignment   files and answers given with a run; what it is done for
    protections             what kept RF from staying on
    rf_state, bench_status, cue  what was read of RF; what is shown while a run goes on
    result                  values with limits and one of four verdicts
    event                   the union of all events, from stamped, run_events,
                            activation_events and adjustment_events
    run_diagnoses           the diagnoses of power curves that count in a run

Decisions that bind this room; all are in force.

**A data file has bounds** (`text_limits`: 250 kB, 20 levels, words of 400 characters; lists of 300;
figures up to 1e12), checked before it is decoded. Why: decoders crash on depth and take the
square of a key's length. Rejected: to catch what the decoder raises, which a crash of the
interpreter does not. Held by tests/model/test_source.py; `scripts/faults --only files`.

**A run carries its documents** (`document`). Each is an event, once a run by its SHA-256, so that a
run that is exported, or attached to a PDF, needs no other file. A text that does not fit its
digest is no document. Rejected: one copy a store, on which many runs would lean. Held by
tests/records/test_documents.py.

**Degrees of freedom stop at 10^6 in a record,** since JSON has no infinity. No test holds this by
itself.

**Each result says what it is traceable to** (`Result.traceability`), since the certificate may
change within a run. Held by tests/engine/test_traceability.py.

**RF has one memory** (`rf_state`). The monitor of each bench keeps it, and a crash is told by it;
where several benches work at once, by that of its own. It needs the standard library alone: a crash
may be the failure of an import, and no event loop runs then. Rejected: a memory beside the
monitor's, which could differ from it. Held by tests/engine/test_protections_kept.py,
tests/cli/test_crash.py and test_rf_at_another_bench_says_nothing_of_this_one.

**Class names may change, record formats may not.** `kind`, field names and values of events and
results are what records keep. Held by tests/reports/test_run_parts.py, which reads an old record.
"""

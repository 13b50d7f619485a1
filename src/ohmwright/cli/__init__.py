"""The terminal: commands, what they print, and how they end.

Read in this order:

    main                        the program, and the exit code of every way to end
    build                       which commit of it runs
    options, option_groups      options of several commands, declared once
    late_commands               groups of commands that are made when one is asked for
    commands_run, commands_bench, commands_offline, commands_new, commands_record, commands_keys,
    commands_care, commands_addenda, commands_page, commands_rehearse
                                the declarations of all commands; heavy imports wait until called
    run_command, run_and_record, signals   one run: each event stored, then shown; signals stop it
    standing_by                 who must be at the bench while RF is on
    again                       the command that goes on with a run
    run_report, tables, run_summary, diagnosis_tables, budget_table, table_format
                                what is printed of a run
    rf_lines                    RF's changes, where no live view shows them
    live, stop_key, lines_above     the live view, the key that stops, what stays above a request
    screen, sound               how a run is drawn and heard; rooms of their own
    sweep_options, sweep_command, sweep_output
                                a sweep: asked for, carried out, what is printed
    panel_keys, learner, practise_command, debrief_table
                                practice: an invented unit's keys on the keyboard; what it came to
    terminal_operator, keyboard     requests to the operator, and what they type
    error_report, crash         how every command that fails ends
    streams, console, console_encoding   output that does not block, in any encoding
    run_subject                 the unit, bench and procedure of a run, and what is given to it
    commands_assets, asset_command, asset_transfer     the register of assets
    commands_worklist, commands_campaign, worklist_command, campaign_command,
    campaign_work_command, scanner
                                worklist and campaigns
    open_records, list_marks    the store, run and keys that a command names; what lists mark
    addendum_command, addendum_checks, backup_command, certificate_command, checks_command,
    creep_command, demo_campaign, doctor_command, doctor_checks, doctor_conformance,
    doctor_finding, documents_command, export_command, fleet_command, fleet_report_command,
    guide_command, import_command, interval_command, keys_command, lint_command, new_command,
    new_questions, new_asked, new_frames, new_checks, own_file, page_command, probe_command,
    record_command, rehearse_command, rehearsal_tables, retention_command, schema_command,
    schema_documents, simulate_command, verify_command,
    verify_words, store_check   what carries out each of the other commands

Decisions that bind this room; all are in force.

**Signals cancel once** (`signals`). INT, TERM and HUP cancel the run's scope, unless the parent
process had them ignored (nohup); later ones change nothing. Why: a second signal must not cut a
release short. Rejected: a second signal that ends at once.
Held by tests/cli/test_streams.py and tests/cli/test_live.py.

**A run does not wait for whoever reads its output** (`streams`). A thread of each stream writes.
Why: a stopped terminal or a pipe that nobody reads must hold up neither release nor record nor
exit. A flush waits 0.25 s at most; the exit waits as long as the reader needs, but 2 s once a
signal asked for a stop. Output to a reader who is gone is dropped, which changes neither a run nor
its exit code; results that cannot be written otherwise (a full disk) are an error of code 2.
Rejected: plain writes, which block with RF on. Held by tests/cli/test_streams.py.

**A crash is reported like any other error** (`crash`, code 70): one message, the traceback in a log
file, and the last RF state that was read. Only RF that is not known comes before it, with code 5.
Code 1 is a verdict, so nothing that typer or Python would end with 1 gets through.
Held by tests/cli/test_crash.py.

**The live view shows nothing that time has made untrue** (`live`): it is drawn from the latest
status and the bench's clock, by a thread of its own, so that a stopped terminal holds up no
reading. RF counts as on until it was read back as off. Rejected: to draw at each reading, which
freezes the last one on the screen. Held by tests/cli/test_live.py.

**A request is printed, left standing for 0.3 s, and only then is the keyboard emptied and read**
(`terminal_operator`). Why: a second answer typed at once cannot belong to it. The terminal stays in
its line mode, so its own echo shows what was typed when. Held by tests/cli/test_typing.py.

**One reading of a bench file** (`api.bench_data`): lint, doctor and every run read the same files
and refuse with the same words. `doctor` says good only of what it saw.
Held by tests/cli/test_lint_reads_all.py.
"""

"""What programs use: benches opened by their file, sweeps and runs on record, curves.

The names in `ohmwright/__init__.py` are public; the command line is built on the same modules.

Read in this order:

    paths                       the user's own folders, and the data files that a bench file names
    simulation_profiles         what a bench is simulated from
    spoken_to, bench_data       how each instrument is spoken to; a bench file read and checked
    simulated_commands          how its instruments are spoken to where they are simulated
    bench_generators            which of its generators is for a unit, or for a model
    unit_of_file, unit_on_bench the unit that a bench file names; the one that stands on a bench
    open_links, open_back_ends, open_bench   and opened
    open_records, jobs          the store that a caller names; a run begun there, or gone on with
    refused_attempts            runs that name their unit in their number alone
    recorded_events             a run whose events are stored before they are handed out
    run_plan, run_pace          the points of a run in their order, and how long the rest will take
    plan_progress               what of them is done, where the run is and what comes next
    rf_words, reading_picture, run_picture, kept_results, run_view
                                a run at one moment, for any face
    run_notices                 what a person should know of its events
    practice, overheard, debrief
                                an invented unit in real time, worked by a person; what that
                                person was asked and told; what came of it
    sweep_plan, sweep_run       what a sweep measures, and how it is carried out and kept
    job_options                 what a program may choose for either
    given, handed_out_points    what a program gives is refused by its name; points left early
    bench_use, stoppable_job    one job at a time; it is stopped where the block is left before it
    right_with                  which of `with` and `async with` an opened bench needs
    async_bench, plain_bench    an open bench for asynchronous programs; for scripts and notebooks
    curve, curve_difference     what a sweep found; one curve less another
    recorded_curve              the curve of a sweep on record
    planned_sweep_points, outlived_faults
                                how many points it was to have; the faults it went on after
    curve_rows, curve_file, curve_plot   curves as rows, as files and as pictures
    picture_file                a picture as a file
    curve_band                  limits that a picture shows
    live_plot                   a picture that grows in a notebook
    run_of_record, records_view a run on record, and the records of a place
    laboratory                  the laboratory file, and what papers state beside the record
    certificate_files           which papers of a run are asked for, and where they are written
    signature_notes             what papers say of keys that nobody trusts
    shown_files, result_rows, dcc_rows   what a file is that somebody shows; results without proof
    issued_paper                the paper that an approval issues, and how a copy differs from it
    certificate_renderer        each paper of a run: a draft, as issued, or a copy
    assets                      the unit that a tag or scan means
    attached_files, given_values_file   files kept with a run; the file that answers its steps
    campaign_work               a campaign as one bench works it: what is next, what is done
    campaign_words              what stands about it and its units, in words
    campaign_changes            what becomes of its units by a person's word
    work_on_record              what the runs of a store say of its units
    import_warnings             what to look at in a file of assets
    creep                       what is to be expected of each unit on record
    cached_file, creep_cache, risk_curves
                                what was learned of that, kept on this computer to save time
    recorded_worklist           register, runs and forecast as a worklist
    fleet_report, fleet_paper   what a span of time brought; that in words
    pandas_extra                rows as DataFrames
    output_file                 a path is refused before the work that is to be written there

Decisions that bind this room; all are in force.

**A sweep is a run of a procedure of one step** (`sweep_plan`). Why: record, seal, resuming, doubts,
protections and refusals are those of every run, and its procedure is kept with it. Its points have
no limits, so they are undecided. Rejected: a loop of its own, which lost hours at a bad path or a
lost line; a fifth verdict. Held by tests/api/test_sweep_survives.py.

**A line lost while RF is off is opened anew, where the plan says to go on** (`sweep_run`): the run
ends with a fault on record and is resumed. Lost while RF is on, a person must look.
Held by tests/api/test_sweep_survives.py.

**One picture of a run for every face** (`run_view`): fed by events and status, asked for when a
face draws, so that no face holds up a reading, and all say the same of RF. It keeps a minute of
readings and the latest results, however long a run. Held by tests/api/test_run_view.py.

**The plain bench has an event loop in a thread of its own** (`plain_bench`). Why: a notebook's
loop runs already. An interrupted call waits until RF is off and that is on record. Rejected:
patching the running loop. Held by tests/api/test_public.py.

**A store is opened for each question and closed again** (`records_view`). Why: nobody forgets to.

**A curve carries its budgets** (`curve`), so that a difference counts only the errors that two
curves do not share. Held by tests/api/test_curve.py.
"""

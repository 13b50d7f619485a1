"""What programs use: benches opened by their file, sweeps and runs on record, curves.

Read in this order:

    paths                       the user's own folders, and the data files that a bench file names
    bench_data, open_bench      a bench file read and checked, then opened
    open_records                the store of records, the run and the keys that a caller names
    recorded_events             a run whose events are stored before they are handed out
    output_file                 a path is refused before the work that is to be written there
"""

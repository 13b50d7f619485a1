"""Stores the events of runs so that a later change, a loss or a forgery shows.

A run is a sequence of events, each chained to the one before it by its hash; the last one is
signed. All runs of a store hang in one ledger. The database is SQLite or PostgreSQL.

Read in this order:

    store               the interface: append an event, read the events of a run
    canonical_json      events and documents as bytes, and the hashes over these bytes
    chain               a stored run, and whether its chain and its seal hold
    seal                the signature under the end of a run
    addendum            what is signed of a run afterwards: approved, issued, amended, voided
    paper_changes       what an amendment changes of what papers state
    authority           who may sign it
    tables              the tables; `migrations/` makes them
    database            transactions in SQLite or PostgreSQL
    open_database       the one in a file or at a URL, opened
    sqlite_file         a SQLite file opened for writing, for reading, or as a copy
    database_errors     errors of the database, put into words
    private_files       files and folders for their owner alone
    notices             how a person is told something meanwhile
    migrate             makes the tables, or brings older ones up to date
    flat_rows           rows of runs and results, made from events
    bulk_insert         many rows in one statement
    ledger              the chain through the whole store
    lease               which program writes to a run
    run_reader          runs as they are stored, unchecked
    run_claim           a run taken for writing, and where its chain ends
    key_file, keys      a key in a file; the key with which this computer signs
    store_places        which stores this computer has seen at which place
    witness_file        one file of the witness
    ends_seen           what this computer has seen runs end with, whatever store they are in
    witness             what this computer has seen of a store, and what is lost since
    sql_store           the store itself
    add_addendum        an addendum signed and stored
    issued_papers       which paper a file is, of those that were issued
    summaries           tables that sum up others
    run_number          when a run was begun, by its number
    run_lists           which runs there are, how each ended, why some were refused
    qualified           which results no certificate of the analyzer covers
    queries             questions about many results
    signed_contents     what the ledger has signed, and what it does not cover
    audit_finding       what an audit reports
    time_order          times that run backwards, are still to come, or are not the number's
    copied_readings     results whose readings another run has
    analyzers_seen      runs by one certificate that name different analyzers
    schema_check        file and tables as they were made
    run_audit, audit    whether one run, and a whole store, is whole
    values_audit, verdict_audit    whether its values and its verdicts follow from what it keeps
    vouchers            keys that somebody vouches for, kept with the records
    trust               the keys that a person trusts
    json_lines          runs as lines of JSON, for export and import
    run_import          runs taken into a store
    register_lines      the register of assets and the campaigns as lines behind the runs
    register_import     those taken into a store: merged by time, conflicts told
    hand_over           a run that goes on in one store alone
    backup              a whole store in one file, checked
    roles               who may add and who may read, in PostgreSQL
    parquet             results as a Parquet file
    name_lock           a lock by name, to the end of a transaction
    asset_register      the register of assets: each change a revision
    asset_file          the register as CSV
    asset_import        what importing such a file would do, and what is wrong with it
    last_runs           the newest run of each unit that decided it
    campaigns           what is to be done, and what was done about each unit
    fleet_learning      what earlier runs taught about adjusting a model

Design decisions, all in force:

1. The bytes that were hashed are the bytes that are stored.
   Why: a newer model of an event must not break an old chain.
   Decision: an event is written as JSON once, and checks hash those bytes. The ledger and seals
   are canonical JSON with sorted keys.
   Rejected: parsing an event and writing it anew for a check.
   Held by: tests/records/test_audit.py, test_every_change_is_named.
2. One ledger for the store.
   Why: a whole run that is removed must be missed.
   Decision: opening, sealing and importing a run are entries of one chain; the opening entry is
   the first link of the run's own chain. `RunFinished` seals the run in its own transaction, so
   no run is finished and unsigned. Numbers of runs rise in the order of the ledger.
   Rejected: a chain for each run alone.
   Held by: test_audit.py, test_two_finished_runs_that_changed_places_are_found.
3. A witness outside the store remembers its newest links.
   Why: an older copy of a store is whole in itself.
   Decision: the state folder has one file for the ledger and one for each open run. Each gets
   the hash that is about to be committed before the commit, and after it that it is there.
   Nothing is written on top of a store that lacks what the witness has seen, and no paper is
   made from it; lists and exports warn. Whoever verifies, shows or prints records without a loss
   remembers how far their ledger went, so that what was signed elsewhere cannot be cut off unseen
   after it was read here. A commit that was begun and is not there is `unknown`:
   a killed program had acknowledged nothing, after a power cut that cannot be told.
   Rejected: waiting for the witness to reach the disk, which would halve the rate of commits.
   Held by: tests/records/test_witness.py, tests/cli/test_record_shown.py.
4. Tables of runs and results are derived.
   Why: lists and fleet views need columns, evidence needs bytes.
   Decision: `runs` and `results` can be made from the events alone, and the audit does so.
   Rejected: columns that say what no event says.
   Held by: test_audit.py, test_every_change_is_named.
5. Summaries are maintained by the database.
   Why: a question about a fleet must not read every result.
   Decision: triggers update `tallies` and `newest_runs` in the transaction of the row, whatever
   program wrote it. Sums are of whole numbers (errors in parts per million of the target), so
   that the order of adding does not matter and the audit compares them exactly. They hold no
   evidence; `record rebuild` and every migration fill them anew. In PostgreSQL a transaction
   that may lock several tallies locks the ledger first.
   Rejected: updates in Python, which every way in would need again.
   Held by: tests/records/test_summaries.py.
6. A fleet is asked for few rows.
   Why: handing over rows takes longer than finding them.
   Decision: `trend`, `pass_rates` and `last_seen(before)` read summaries; lists of everything
   are there for export and for a span of time.
   Rejected: sums over results at each question.
   Held by: test_summaries.py, test_months_add_up; speed by scripts/bench/store.py.
7. Statements that run at every event go past SQLAlchemy.
   Why: its bookkeeping for three statements took over a third of a fast disk's fdatasync.
   Decision: `bulk_insert` and `Database.write` use the driver; one statement takes a batch.
   Rejected: a store without SQLAlchemy, which queries and migrations need.
   Held by: scripts/bench/store.py.
8. A SQLite file is made beside its place and linked in.
   Why: a file without tables must be one that lost them.
   Decision: such a file is refused.
   Rejected: making tables in whatever file is found.
   Held by: test_audit.py, test_a_file_that_lost_its_tables_is_not_begun_anew.
9. The version of the tables is asked in plain SQL.
   Why: Alembic takes longer to import than a run to start.
   Decision: Alembic is imported only to make or migrate tables. A released migration is never
   edited; the audit compares a SQLite schema with what the migrations make.
   Rejected: asking Alembic at each start.
   Held by: test_summaries.py, test_a_store_of_the_first_version_is_brought_up_to_date.
10. A lease, not a lock.
    Why: a bench that loses power must not hold its run for ever.
    Decision: a lease lasts 15 minutes, is renewed by writing, and is free at once when its
    program on this computer has ended.
    Rejected: a lock of the database, which ends with each connection.
    Held by: tests/records/test_store.py, test_writing_renews_the_hold_and_a_lost_one_stops_the_run.
11. A run carries its documents.
    Why: a record must be readable without the files of the bench.
    Decision: each document is an event after the opening that names it, once for a run by its
    SHA-256; a resumed run adds what is new. `verified_events` wants all that an opening names
    before the first stage.
    Rejected: one copy for the store, since a run that is exported would lean on others.
    Held by: tests/records/test_documents.py.
12. Findings are `wrong`, `unknown` or `warning`.
    Why: what cannot be shown to be good from here is neither good nor damaged.
    Decision: `record verify` ends with 6, 4 or 0. Unknown are a seal by a key that nobody here
    trusts, which a whole forged store has, and a commit whose end nobody saw.
    Rejected: two states.
    Held by: tests/cli/test_trust.py, test_a_whole_forgery_is_not_good.
13. The keys that this computer has had are remembered apart from the key.
    Why: a lost or exchanged key must be missed, and older seals stay its own.
    Decision: a file in the witness folder lists them. Trusted are these and the keys of the
    user's list; a list that is given replaces both. That list holds whole keys, since a
    fingerprint has only 64 bits, for people to compare.
    Rejected: making a new key where none is found.
    Held by: tests/records/test_keys.py, tests/cli/test_trust.py.
14. Times that run backwards are warnings.
    Why: clocks of benches differ by seconds, and a network clock steps by less than one.
    Decision: a run over 60 s before the one opened before it here, an event over 1 s before the
    one before it. Imports come in any order, and a simulated clock tells none.
    Rejected: refusing such a run.
    Held by: tests/records/test_time_order.py.
15. A store that may not be written to is read by the least that works.
    Why: an auditor has a read-only copy.
    Decision: as SQLite reads it; told that nobody writes, where there can be no shared memory
    and there is no log; from a private copy, where the newest events are in a log or the tables
    are older.
    Rejected: asking for write access.
    Held by: tests/cli/test_read_only.py.
16. An import is a longer chain or nothing.
    Why: nothing on record is ever replaced.
    Decision: the opening and every hash that both copies have must agree. Each import is an
    entry of the ledger with the head that it brought.
    A run that was handed over is claimed by nobody here until it comes back, or is taken back.
    Rejected: merging two copies of a run.
    Held by: tests/records/test_transfer.py, test_a_fork_is_refused_at_the_first_event_that_differs;
    tests/cli/test_two_laptops.py.
17. What is said of a run afterwards is an addendum.
    Why: a run is sealed; an approval, an amendment or a void must not change it and must not be
    lost, forged or left behind.
    Decision: an addendum is signed with the key of whoever makes it, names the run's last hash
    and the addendum before it, is an entry of the ledger and a line of an export. A void is
    undone by another addendum. `verified_events` checks all of them. The view
    `voided_runs` is the ledger's last word on each run, for every list; a trigger takes the results
    of such a run out of the summaries.
    What is signed leaves defaults out, so that a field that is added later breaks no signature.
    Rejected: events after the last one, which would break the seal; a set of addenda without an
    order, since two copies could then disagree on whether a run is void.
    Held by: tests/records/test_addenda.py.
18. Nothing is deleted, and old runs are only archived.
    Why: without its bodies a chain cannot be recomputed, and what is gone by right could not be
    told from what is gone by fault.
    Decision: `record retention` lists and archives; what may be destroyed is a whole store.
    Rejected: moving the bodies of old events to a file, which would leave rows that no event holds.
    Held by: tests/cli/test_retention.py.
19. A copy counts once it was checked.
    Why: a copy that nobody tried is none.
    Decision: backup and restore audit what they wrote before it gets its name. A restored store is
    held against the witness; what is lost since is named.
    Rejected: taking back what the witness has seen, so that an old copy would pass for the newest.
    Held by: tests/cli/test_backup.py.
20. In PostgreSQL a bench adds with rights that change nothing.
    Why: triggers against changes can be switched off by whoever owns the tables.
    Decision: the triggers that fill summaries, and the lock of the ledger, act with their owner's
    rights (SECURITY DEFINER), so that a bench needs neither UPDATE nor DELETE but on leases.
    Held by: tests/records/test_roles.py.
21. A voucher goes one step.
    Why: a chain of trust that nobody oversees ends at strangers.
    Decision: it counts where its signer is in the reader's own list or is the reader; it is an
    entry of the ledger, so that its removal shows.
    Rejected: a list in the store that counts by itself, which whoever forges the store would write.
    Held by: tests/cli/test_vouchers.py.
22. A change of an asset is a row more.
    Why: who said what of a unit, and when, must stay to be seen.
    Decision: `asset_changes` holds a unit whole at each revision, and refuses updates. Who writes
    a revision that is there already was second, and is told. A run keeps its unit as it was.
    Rejected: a table of units with a log beside it, which could disagree.
    Held by: tests/records/test_assets.py, test_who_comes_second_overwrites_nothing.
23. A unit of a campaign is taken under a lock by name, and done by its run.
    Why: two benches must not get one unit, and a power cut comes between any two commits.
    Decision: choosing and noting are one transaction. The log names a run before its first event,
    so that afterwards its record alone says whether the unit is done, cut short or not begun. The
    lock needs no right to change a table.
    Rejected: a state that is written when a run ends; a hold that runs out, since a unit is
    handed over by its holder.
    Held by: tests/records/test_campaigns.py, test_two_benches_never_get_the_same_unit; the power
    cuts by scripts/campaign.py.
24. The last hash of a finished run is remembered for the computer, not for a store.
    Why: the witness is found by the store's name, so that a rewritten copy under a new name had
    none.
    Decision: a file beside the witnesses has a line for each run that was finished or imported
    here and does not contradict itself; what was seen first counts. Verify names a run that ends
    otherwise, import refuses it.
    Rejected: remembering only what was printed, which leaves out runs without a paper.
    Held by: tests/records/test_witness.py, test_a_rewritten_run_in_a_new_store_is_told.
"""

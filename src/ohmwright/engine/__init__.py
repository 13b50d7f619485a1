"""The async loop: it sets loads, activates, samples, decides, adjusts, and yields events.

Read in this order:

    procedure, procedure_file     the procedure, and the line and column of each key of its file
    capability, requirements      checks, before anything is switched on, that a bench can do it
    foresight, decidability, room, asked_power
                                  what a bench can do and may not decide, told before RF
    plausibility                  what a procedure allows and hardly means, for `lint`
    traceability                  the analyzer's certificate, on which the uncertainties rest
    job, run                      what is to be run; a procedure on a bench, as an async iterator
                                  of events
    resume, run_so_far            what must be as it was where a run goes on; what the events of
                                  any run say of it
    opening_events, loads_taken   instruments, documents, and what the bench may not decide; each
                                  load connected once
    stage                         the steps of a stage in their order; skip and back
    sweep_points, sweep_estimate  the points of a sweep in their order, and what they will cost
    steps/                        one file a step kind: its data, what it requires, how it is run
    session, time_on              the state that a run keeps from one activation to the next; how
                                  long RF was on
    unit_identity                 whether the unit at the bench is the register's
    analyzer_input                the circuit that the analyzer's input is joined to
    answered_step                 the base of steps that a person or a file answers
    contact_quality_search        where a contact quality alarm comes on, and where it goes out
    activation_events             the two events around an activation, made while RF is off
    activation, release, meter_tail
                                  the only way to switch RF on, and the way it is switched off;
                                  what a meter still shows then
    unasked_rf                    RF that nobody asked for: at first contact, before ON, after a
                                  fault
    stated_droop, meter_window    whether the output sinks by more, and the meter averages over
                                  less, than the data state
    resting, watched_rest, watched_question, watched_work
                                  how long RF must stay off; a rest, a question to a person, or
                                  any work, in which that is watched
    low_output                    activations at little power, for the conformance kit
    delivery                      that a unit delivers, before a small leakage is believed
    sampling, ages_without_numbers, pace
                                  readings of an open activation, each once and with its age; when
                                  they are asked for
    asked_current                 what a point asks of the current
    rested_activation             rest, activate, take readings until a stop rule has enough
    stop_rules                    a value has settled, or the verdict of a target is known; what a
                                  person's hand and eye add to its uncertainty
    point_measurement             one point's value compared with its target
    influences                    what is stated of other effects on a reading, and what is not
    lost_load                     a point whose load the analyzer does not connect
    measured_value, judge         from a settled value to its uncertainty, and to a verdict
    crest_factor_value            from captured waveforms to a crest factor with its uncertainty
    difference                    of two values that share errors
    undoubted, doubt              what makes readings doubtful, and measuring again until they are
                                  not; how a doubt is resolved
    warming                       how warm a unit is, for the step that warms it up
    adjustment_start, prior_of_point, point_spec
                                  what is known of a point before it is adjusted, and what is
                                  asked of it
    adjust, adjustment_activation an adjustment policy's actions, in activations and between
    adjustment_outcome            what an adjustment found, and what of it is put on record
    trim_actuator, service_state, service_exit, service_on_record
                                  moves of a trim, and what must be undone of them
    coach, coach_words            cues for a person at the keys; what the readings show of them
    adjusting_again, trim_log     points that a later trim moved, checked and adjusted again
    as_left_evidence              what values as left show of adjusted points
    contradictions                a record held against itself, for `record verify`; each of the
                                  next modules holds one part of it against the rest:
    kept_documents, beginning_on_record, people_on_record, protections_on_record
                                  documents, unit, people and protections of a run
    conditions_on_record, limits_on_record, missing_points
                                  results, as the kept procedure states them
    certificate_on_record, coverage_on_record
                                  results, as the kept certificate of the analyzer allows them
    activations_on_record, rf_on_record, rests_on_record, warmth_on_record,
    first_contact_on_record       when RF was on, and how trims moved
    requests_on_record, answers_on_record
                                  what people were asked, and what they answered
    figures_on_record, thresholds_on_record, verdict_on_record, repeated_readings
                                  what follows of the figures of a result
    recomputed_values             values computed once more from their readings

Decisions that bind this room; all are in force.

**A person may keep RF on and read the meter** (`stop_rules`, `release`, `undoubted`). With a foot
switch the maximum time is a countdown, and a release asks until a reading shows no current, for a
minute at most; else it is ReleaseNotConfirmed. What was let go early is measured again. A budget
has a line for readings that a person dated: droop within the time that they may be off. Rejected:
to spread that error over the readings, since all are off together.
Held by tests/engine/test_by_hand.py.

**The meter says what a person pressed** (`coach`). A cue asks for presses, readings go on, and
those that the readings show are reported to the policy and put on record as told by the meter;
what they cannot tell from a slip is marked so. Presses with RF off are reported to the policy as
asked, and put on record once an activation has shown them. Nobody's silence holds RF on: after
three cues of which nothing was seen RF goes off, and the presses are asked for. A terminal that is
a pipe, and a meter read by eye, keep requests that are confirmed. Rejected: to confirm each press
at the keyboard, which takes the eyes off the panel and believes what was meant. Held by
tests/engine/test_coach.py and scripts/bench/coached.py.

**Nobody leaves a bench that lacks a protection** (`capability`). Unattended, a bench needs a limit
in ON or a single shot, the guard, the output's state and a proof of the line; each that is missing
is named with what would give it. Held by tests/engine/test_by_hand.py and
tests/engine/test_protections_kept.py.

**Events are yielded only while RF is off.** Why: a slow disk, a locked database or a consumer that
stops listening must not hold RF on. The live view is a callback that returns at once; events
made while RF is on wait in `pending_events`, from where `api.recorded_events` takes them after a
cancellation. Rejected: a queue between engine and records, which a killed program loses.
Held by tests/engine/test_rules.py.

**A release has a task of its own** (`uncancellable`). Why: a second `Task.cancel()` pierces a
shielded scope. Cancellations are raised after it. Rejected: try/finally, and a shield alone.
Held by tests/engine/test_activation.py; `scripts/faults --mutate shield`.

**RF is what was read last.** The state in a `Fault` is read after the fault, never concluded from
its kind; a line that does not answer leaves it unknown. A current counts as none up to what the
meter read at first contact with the output off, plus three digits. The release of an activation
without any current waits two seconds more, since RF may still be coming on. Rejected: to believe
the acknowledgement of OFF. Held by tests/engine/test_rf.py.

**A meter's tail is no RF that stays on, and nothing else passes for one** (`meter_tail`). A filter
shows a current that has gone for longer than the window in the data. RF reads off no sooner for
that; but nobody is warned of it, and OFF is not doubted at the limit, while the analyzer says that
it is open and every reading is below what all readings before it allow: a factor of e a window,
once a new one is due. What does not fall so is warned of as soon as before. Rejected: a longer
time for all, in which RF that stays on would not be warned of. Held by
tests/engine/test_meter_tail.py.

**Rests are watched.** Once a second, and right before ON, state and current are read; what looks
like RF is confirmed by a second reading, ended by OFF and kept as an event, and the rest begins
anew; at the third time in one rest the run ends.
Held by tests/engine/test_rf.py; `scripts/faults --only hazards`.

**What must end RF is proved by ending RF** (`protection_self_test`). Every unattended run that
keys the output begins at 3 % of full setting: OFF must open what reads closed long before its
limit, the limit sent with ON must end an activation, and the guard's OFF must. A proof that
would also succeed if OFF did nothing proves nothing. Held by tests/engine/test_guard_proof.py.

**Far too much ends the activation at that reading:** 1.5 times what was asked (or 3 W more), or
1.1 times the load bank's rating. Held by tests/engine/test_protections_kept.py.

**First contact fails as a link.** Before this program has switched anything on, a line that makes
no sense is a link error; exit code 5 is kept for a release that could not be confirmed.

**An activation that ended early gives no value.** After the last reading it is read that RF is
still on; an analyzer that tripped, or a limit that ended it before, is an error. So the last
reading is one after which that can still be read before the limit, however slow meter and line are.
Held by tests/engine/test_rf.py and test_slow_meters.py.

**Ages come from reading numbers, and clocks check each other** (`sampling`). A reading's number and
the meter's rate give its age, which a late request for it does not change; it is never farther from
the request than a reading can be, at whatever rate the meter truly counts. A number that was asked
for again and was still the old one shows a meter that pauses or holds: the time it stood is not
held against its count. A reading without a
number is dated between two fetches, and the same text within an interval is the same reading: to
count each fetch as a reading would make the mean look surer than it is. Where the meter's count,
the bench's clock, the machine's boot clock or the time left of the limit disagree, the activation
is void and the run can be resumed. Rejected: repeating it by itself, since what made the machine
sleep would do so again. Held by tests/engine/test_sampling.py; `scripts/faults --mutate clocks`.

**A figure that stands after a stride may be held** (`sampling.StandingFigure`). A meter that
changes its range shows the last figure for a second or more, and as often as it is asked where it
numbers no readings. A repeat of a figure that the readings came to by more than noise and digit
explain is waited out: another figure, or 2.5 s. A stride away from it shows that it was held, and
its repeats count no more. A fine figure that repeats more often in a row than its neighbours were
equal before is waited out, too; far more often, and the meter hangs. Rejected: a fixed number, as a
meter that smooths its readings repeats them. Held by tests/engine/test_standing_reading.py.

**No output is no value** (`undoubted`, `doubt`). A current under a tenth of what was asked for says
nothing of the unit: a lead may be off. Nor does one that comes and goes within an activation, a
value 3 tolerances or 25 % off, or far too much power: a panel may be dialled otherwise. A person is
asked, or mode and setting are chosen and read back anew, and it is measured once more; that a unit
has failed without output, only a person can say. Leakage is measured only after an activation into
about the rated load has delivered. The cost is one short activation a leakage point.
Held by tests/engine/test_evidence.py, test_lies.py.

**What cannot be decided is told before RF** (`foresight`). The meter's digit, the decision rule,
the rest, the time limit and a count of the trim are held against each tolerance, from data alone;
each warning names the figure that would do. Nothing is refused for it: data may be cautious, and a
unit may be better than they say. The bar, three standard deviations in half of what is accepted, is
where the stop rules decide nearly every output in that half. Rejected: a bar of its own for each
cause. Held by tests/engine/test_decidability.py and test_foresight.py.

**One way from a settled value to a verdict.** `measured_value` makes the budget, `judge` the
verdict, by the rules of `uncertainty.conformity`. The measurand is the current in the connected
load, or P = I² R there. Held by tests/engine/test_measured_value.py and test_judge.py.

**What is not in U has its name in the result** (`influences`). An effect is a line of
the budget where certificate, analyzer's data, generator's data and room state what it needs, and
else one of `left_out`: nothing is guessed, and nothing is silently zero. Lines name the error that
other values share, so that `difference` need not know how they were measured. Rejected: typical
values for what nobody stated; a line for "other effects".
Held by tests/engine/test_accuracy.py, test_difference.py.

**A crest factor allows for the peak that no sample met** (`crest_factor_value`). The largest sample
is below the peak by as much as the samples a carrier period allow. It is not corrected: captures
that are not in step with the carrier come near the peak, and nobody knows which are. Where that
limit alone exceeds the tolerance, lint and run refuse. Held by tests/engine/test_output_checks.py.

**Scatter guards every rule.** A rule's verdict counts only where the readings' own scatter leaves
no doubt about the side of the tolerance: simple acceptance and 4:1 ignore uncertainty otherwise.
Held by tests/engine/test_judge.py.

**A point is watched until it is decided and its value precise enough to state** (`stop_rules`). Lag
and droop are extrapolated to the age the procedure names, with what that leaves unsure in the
uncertainty, so that an activation may end before that age. Held by tests/engine/test_stop_rules.py.

**The readings are looked at when they may decide**, 0.2 to 0.8 s apart, by how much narrower the
value's distribution must become, and once more at the end. Why: nine of ten looks could decide
nothing, and took half of a rehearsal's time; 300 verification points took 1.5 % more RF. Held by
tests/engine/test_stop_rules.py.

**What scatter leaves undecided is measured once more** (`point_measurement`), after a rest, and
both values are pooled: noise averages out, what was extrapolated does not, and where the two differ
by more than their uncertainties half of that counts too. Once only: a third activation would cost
RF time for little. The readings of the second activation are kept with the result; the time with RF
on is that of both.
Held by tests/engine/test_point_measurement.py.

**Rests are as short as the tolerance allows** (`resting`), and the procedure's rest at most. Where
the generator's data say how it droops and recovers, the warmth left over is corrected for, and the
rest lasts until the uncertainty of that correction is 12 % of the tolerance. The duty of load bank
and generator, a running mean of two minutes, is never shortened.

**Warming up is activations like any other** (`steps/warm_up`): rested, limited, within the duty,
with output seen. It ends by a time with RF on, or once the drift is known to be under its limit:
readings that scatter do not say so. It is undecided where the longest time ends it, and done again
where a run is resumed before steps of its stage. That a unit was still drifting is seen from the
results alone (`reports.drift_remarks`). Held by tests/engine/test_warm_up.py.

**An adjusting policy knows no clock and no port.** `adjust` carries out its actions, within an
activation by `adjustment_activation`, on the trim by `trim_actuator`. A person who does not answer
within the limit cannot hold RF on: it goes off, and they are asked how many presses were done.
Held by tests/engine/test_adjust.py and test_people.py.

**Trims are stored after each accepted point**, so that a run cut short resumes from what the
generator has kept. Held by tests/engine/test_resume.py.

**Points that a later trim moved are checked where they were adjusted, and adjusted again**
(`adjusting_again`, `trim_log`). The check is one rested activation in service mode: there it can be
held against the value that was adjusted, with the same load, meter and tolerance, so that what
differs is the trim. All follows from the results, so that a run resumes amid the rounds. What a
trim moves is stated by the generator's data (`also_moves`). Where it is not, checking each point
cost 25 % of the bench time of units without coupling; so a value as left at the same load and full
setting, which is measured anyway, must first differ by half a tolerance. Then service mode has the
word, and what was measured as left is measured again. That costs such units 1.2 % on average, 8 %
at most of 28. Once a unit has shown coupling, points of the same mode are checked at once. A point
is adjusted again twice at most; then its check stands as its result, and names the trims.
Rejected: verdicts as left alone, whose limits are wider than those of adjusting; to leave a moved
point the verdict it had, which holds no more.
Held by tests/engine/test_adjusting_again.py and tests/adjustment/test_trim_coupling.py.

**A fault at a point of a sweep is its result, where the procedure says to go on** (`steps/sweep`)
and RF is read as off; three in a row end it. What may go on after it are faults of one activation;
RF that nobody asked for and a line that is gone end any run. Rejected: to measure the point again,
which a load bank that trips would do for ever. Held by tests/engine/test_sweep.py.

**A load that is lost ends no run** (`lost_load`). Where the analyzer refuses a load that it took
at the start, RF is read as off first. Then a person says whether the point is tried again, or left
without a value; unattended it is "not measured" and the run goes on. Only a refusal and another
load read back count: on a line that fails, points would be given up that can be measured later.
Held by tests/engine/test_lost_load.py.

**A service mode that times out** shows as an output that is lost while the contact is closed
(`output_loss`). The readings of its fall are held back, and only the time of its end is learned
from that activation. A contact that reads open before its limit is a trip and ends the run.
Held by tests/engine/test_adjustment_activation.py.

**Every request names its answers.** Stop, back and skip are exceptions, so that they leave an open
activation as any other error does, with a release; `stage` then skips or repeats. Moves of a trim
that the unit has not stored are undone before a point is left. Held by tests/engine/test_people.py.

**The record says what was sent:** `ActivationOpened.limit_s` is what ON carries, rounded down to
its digits, or nothing. Held by tests/engine/test_protections_kept.py.

**What must be as it was when a run is resumed** (`resume`): stages, unit, bench, procedure,
hardware data, command sets and back ends. Certificate and ambient conditions may be others, and
each result says what its uncertainty rests on. Rejected: a corrected command set, beside whose
values the wrong ones would stand. Held by tests/engine/test_resume.py.

**A certificate's figure with a coverage factor is an expanded uncertainty, without one a limit of
error.** No certificate is allowed and said; an expired one is refused, or accepted and said.
Held by tests/engine/test_traceability.py.

**A step kind is one file** (`steps/`), found by itself. Rejected: a union written out in the model
with a match in each of procedure, capability and stage, which a new kind had to be added to five
times; data of steps below the engine and behaviour in it, which is two files a kind.
Held by tests/engine/test_step_kinds.py.
"""

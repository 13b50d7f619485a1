"""The policy that brings one point's output to its target by moving its trim.

It says what to do next and is told what came of it; it knows no clock and no port. Outputs and
gains are relative to the point's target, gains per count of the trim. Read in this order:

    point               what is asked of one point, and how its trim is moved
    actions             what the policy can ask for
    policy              what was reported, what to do next, and what follows from a reading
    decision            what the readings call for: wait, move, release, return, give up
    unit_estimator      the unit's coefficients, and whether its gain is known
    move_choice         the next move, by its own gain or by the fleet's
    step_sizing         how many counts a probe or a move is
    plain_look          what the readings show of the trim by themselves, without a model
    release_criterion   whether the output is near enough to the target to release and confirm
    confirmation        one activation that may confirm, on its own readings
    confirmation_pool   confirmations at one place of the trim, put together
    findings            what the activations showed beyond the coefficients
    backlash            lost motion at reversals; from which side a trim approaches a position
    best_place          where the output was seen nearest to the target
    local_prior         the coefficients at the present position of the trim
    rf_budget           how long RF may be on, for an activation and for the point
    evidence, cause     what is known at the end without a confirmation; why, in words
    runaway_check       output out of bounds, target out of reach
    first_move          the move before RF, where the output at the start is known
    fleet_prior         what earlier units of the model taught
    trim                where the trim stands, by counts or by keys
    presses_with_rf_off which presses a move is for which RF goes off, and when it may
    press_hypotheses    what a person may have done who was asked for presses
    press_evidence      marginal likelihood of the readings since, by when presses were made
    press_weighing      probability of each hypothesis from the readings
    press_seen          the most probable presses, and which earlier ones stay in doubt
    press_watch         when the presses have shown in the readings
    press_reports       presses watched for one policy, and reported to it as they show
    activation_log      readings and moves of one activation
    trim_coupling       how far trims move other points, and the order that it suggests
    action_queue        actions decided on and not yet handed out
    parameters          every threshold, in groups, with unit and reason

Decisions that bind this room; all are in force.

**The policy knows no clock and no port.** Why: the same policy runs a bench and a population of
units in a benchmark. `engine.adjust` carries out what it says. Rejected: a loop that awaits the
meter between decisions. Held by the import contracts; tests/adjustment/test_policy.py drives it.

**A confirmation is decided on its own readings**, and those of confirmations at the very same
place of the trim that ended undecided. All of these count, whatever they said, with what they have
in common kept whole, and the present one must say so by itself, if less surely; so that looking
again is no second chance. Fleet prior, as-found curve and all that was
learned of the unit decide only what is done before it and how long it pays to watch, so that a
wrong prior costs time and causes no false accept. An output that needs no move is confirmed in the
activation that showed so, if it began cool enough. Rejected: the posterior of all activations.
Held by tests/adjustment/test_policy.py (a_confirmation_answers_on_its_own_readings, wrong priors)
and test_confirmation_pool.py.

**Level and gain hold where the trim stands.** Their origin moves with it between activations. A
confirmation that was refuted, or is not where it was predicted, becomes the level there; of what
predicted it only the gain is kept, with its uncertainty widened to 30 %. Rejected: one model for
all places, under which the same wrong move was made again and again. Where that level is far from
the one at the last place, the two tell the gain: a trim that acts seconds late seems weak while RF
is on, and moves by such a gain went up to 100 % off. Held by tests/adjustment/test_local_prior.py,
test_foreign_units.py (slow trim) and the worlds with trims that fade, ripple, relax or have play.

**Presses are inferred, not believed.** Each slip is a hypothesis with its step response, and the
readings since the request weigh them (`press_weighing`). The first presses tell the gain, so that
what they were stays in doubt, as a suspect that later presses clear or convict. Presses that seem
to go the other direction leave in doubt whether the gain has the other sign: two in a row convict
it, unless presses before had borne the sign out. A move by a gain
that is known is pressed with RF off, coarse and fine together, once it will probably land; one
after a refuted confirmation with RF on, if it is coarse, since a fine press does not show in the
noise.
Rejected: to compare the settled output before and after, which waits twice as long.
Held by tests/adjustment/test_press_watch.py; `scripts/bench/coached.py`.

**Play is avoided, not modelled.** Once moves after a reversal have done less than the gain says,
every further place is reached from one side, by a run-up a little longer than the loss seen.
Rejected: a coefficient for it, as a reversal shorter than the play is not linear in it.
Held by tests/adjustment/test_backlash.py; `scripts/bench/worlds` (backlash: 0.93 to 1.00).

**A point has a budget of RF time**, over all its activations. What is not confirmed by then ends
undecided with the cause that the findings give. Where a person has mended what kept the presses or
the output from showing, the point is begun anew with a whole budget, as RF spent at another point
says nothing of this one; once a whole budget went that way, the point is not measured. Rejected: to
count it, which left too little to confirm and blamed the unit. Held by
tests/adjustment/test_rf_budget.py, tests/engine/test_begun_anew.py.

**A gain that only other units showed is used until the unit contradicts it**, in a fit without it.
Moves by it stay small, each and all together: even a gain 3 times as large, of the other sign,
keeps the output within about 30 % of the target. The readings are asked only once such a move had
time to show (asked sooner, they overruled one true prior in ten); a gain that they neither prove
nor contradict by then is dropped, as is one by which no count would help an output that is off. The
first release by it asks for less: failing costs one look more.
Held by tests/adjustment/test_policy.py (priors opposite, wrong by a factor, true under noise).

**One unit in eight is assumed to hunt** until readings say otherwise (`Confirming.hunting`): with
wander among the explanations a larger share costs time (0.9 a fifth more RF) and was not seen to
prevent a false accept. What departures alone keep in doubt is moved after twice the usual patience,
and only where the error is larger than its uncertainty with departures allowed for.
Held by `scripts/bench/adjust.py` (hunting 1 %); tests/adjustment/test_policy.py.

**An output that leaves all bounds sends the trim back to its start**, once with the gain forgotten;
the second time the point is given up. An estimate alone is no runaway: a reading must be on its
way there. A point that is given up is left at its start, or at the place where the output was seen
nearer to the target beyond doubt, or is expected so where no look was sure of it (a unit still warm
after too short a rest shows little); it gets there with RF off, and the result says so.
Held by tests/adjustment/test_runaway_check.py, test_best_place.py and test_policy.py
(runs_away_twice, dead_trim).

**An estimate alone neither says that a trim does nothing, nor that a step is small.** An output may
behave as no model here (an underdamped loop, a controller with a dead band); then an estimate can
be sure of a gain that the readings plainly contradict. So "no effect" and "the range ends" are said
only where no two places whose readings had settled speak against it, else the point is undecided;
steps are bounded at the largest gain of estimate, readings and data (`count_ma`, up to 1.5 times),
from where the output last stood still, too; none leads beyond the mode's current limit where the
data give it and it is not the target itself, and a probe from out of tolerance leads 2 tolerances
farther out at most at any gain still credible, or is no larger than the first. Rejected: the slope
of readings that still rise (RF 5 % longer, 1 of 100 units undecided). Held by
tests/adjustment/test_plain_look.py, test_step_sizing.py and the worlds quick trim and slow trim.

**A service mode that times out teaches when it does.** Nothing else is learned from that
activation; after a rest the next one is left in time, so that its lesson is kept (else ten in a row
could begin alike and teach nothing). Held by tests/adjustment/test_policy.py
(left_in_time_the_next_time) and tests/engine/test_adjust.py.
"""

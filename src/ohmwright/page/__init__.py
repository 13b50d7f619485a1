"""The bench page: benches are run, watched, stopped and coached in a browser.

Read in this order:

    benches, practice           what a desk works at: the bench of a file; an invented unit
    desk, operator              one bench and its run; the person who answers on the page
    off_reading                 when RF was last read as off at it
    screens, lease              the tabs that show the page; which of them commands a bench
    news                        what each screen is told, as a stream of events
    beside                      work that waits for a disk, beside the loop of the benches
    subject                     which unit a run is of, and by which procedure
    offered, preview, history   procedures to choose from, what they would do; runs on record
    outlook                     how units creep, and which is to be worked on next
    register_card, cut_short    a unit of the register, and its commands; runs that were cut short
    campaign_card               campaigns, and where each of their units stands
    orders, request_body        what a page may ask for, and how its bodies are read
    fresh                       whether an order was given on what goes on now
    calls, routes               what each route does; the table of routes and its description
    admission, pacing, gate     who may use the page; what never reaches a route
    site                        all of it, served
    static/                     the page itself: JavaScript modules without a build, one style sheet

Decisions that bind this room; all are in force.

**The page never owns RF** (`desk`). A run is a task of the server's process, with its guard, and
goes on whether or not a browser is there; what ends it is its own end, STOP, or the end of the
server, each by the shielded release. A request to a person waits, as it does at the terminal. Held
by test_a_run_goes_on_without_a_screen_and_is_on_record.

**Any screen stops, one commands** (`lease`, `gate`). STOP takes no body, no command and no place in
a queue of requests. A tab has a key of its own, so that a duplicated one does not act in the name
of another; a command that is asked for and not answered may be taken. Held by
test_any_screen_stops_and_one_commands and test_a_duplicated_tab_gets_a_key_of_its_own.

**Nothing old is shown as present** (`news`, `static/rf.js`). A screen hears something every second;
after three seconds of silence RF is shown as not known there, and no reading. Each stream begins
with all there is to know, so that nothing depends on what a screen has missed. Rejected:
resuming a stream by the number of its last event. Held by
test_a_server_that_is_gone_is_never_shown_as_present.

**Nothing pressed in silence is obeyed later** (`fresh`). An order waits in the line while server or
network sleep, and RF would come on when they wake. So it carries the time of the server's last
word, and an old one is refused; a STOP is never. Held by tests/page/test_silence.py.

**A token admits one browser, once** (`admission`). It stands behind the `#` of an address, which no
request carries, and becomes a cookie that no script sees. Whatever changes something must come from
the page's own origin and name this server as its host. Rejected: a password, which is shared; a
token in a request's address, which is logged. Held by tests/page/test_gate.py.

**The page has no build** (`static/`). Plain modules, and uPlot as its authors ship it, so that what
is served is what is read; a policy forbids all other scripts, styles and connections.
"""

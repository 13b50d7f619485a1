"""Procedures under test in a project of one's own, by pytest.

Read in this order:

    mark                    what the mark of a test chooses
    simulated_data          the data of a bench with that mark, found beside the test
    procedure_run           what a procedure came to on a simulated bench
    procedure_bench         a simulated bench that runs procedures, for the fixture

`ohmwright.pytest_plugin` holds fixture, mark and reports, and imports this room when a test asks
for a bench.

Decisions that bind this room.

**A test's bench is simulated, whatever its file says.** A real bench is never opened by a test
runner: nobody stands by. Rejected: a mark that opens the lines of the bench file. Held by
tests/testing/test_template.py.

**RF off is asserted twice:** by the simulator's truth, and as the analyzer reads it back. Held by
tests/testing/test_template.py.
"""

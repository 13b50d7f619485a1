"""The analyzer's certificate, the room and the decision rule, from the command line."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.api.open_records import open_existing_records, resolved_run_id
from ohmwright.cli.table_format import value_with_uncertainty
from ohmwright.model.event import RunStarted
from ohmwright.model.result import Measured
from ohmwright.model.shipped import shipped
from ohmwright.reports.part_texts import room_text

DEMO_BENCH = shipped("benches", "demo.toml")
CERTIFICATE = shipped("analyzers", "gantry-400", "certificate.toml")


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """The demo bench with a certificate of its own beside it."""
    text = CERTIFICATE.read_text(encoding="utf-8")
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    path = tmp_path / "bench.toml"
    bench = DEMO_BENCH.read_text(encoding="utf-8")
    path.write_text(bench.replace('certificate = "gantry-400"', 'certificate = "own.toml"'))
    return path


@pytest.fixture
def verify(ohmwright: Callable, procedure: Path, tmp_path: Path) -> Callable:
    def verify(bench: Path, *options: object):
        folder = ("--records", tmp_path / "r", "--unattended")
        return ohmwright("verify", procedure, "--bench", bench, *folder, *options)

    return verify


def expire(bench: Path) -> None:
    path = bench.parent / "own.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("due_on = 2026-08-18", "due_on = 2025-12-31"))


def started(tmp_path: Path) -> RunStarted:
    with open_existing_records(str(tmp_path / "r")) as store:
        event = store.events(resolved_run_id(store, "last"))[0]
    assert isinstance(event, RunStarted)
    return event


def test_an_expired_certificate_is_refused_and_can_be_accepted(
    ohmwright: Callable, verify: Callable, bench: Path, tmp_path: Path
) -> None:
    assert verify(bench).code == 1
    expire(bench)
    refused = verify(bench)
    assert refused.code == 2
    assert "CAL-25-1187" in refused.err
    assert "expired on 2025-12-31" in refused.err
    assert "--accept-expired" in refused.err
    accepted = verify(bench, "--accept-expired")
    assert accepted.code == 1
    assert "EXPIRED" in accepted.out
    assert "was past due when it was used" in " ".join(accepted.out.split())
    known = started(tmp_path).traceability
    assert known is not None
    assert known.expired
    listed = ohmwright("record", "list", "--records", tmp_path / "r", "--json").json
    assert [one["analyzer_past_due"] for one in listed] == [False, True]
    shown = ohmwright("record", "list", "--records", tmp_path / "r").out
    assert (shown.count("fail*"), shown.count("by an analyzer past due")) == (1, 1)


def test_the_room_as_read_today_goes_before_the_bench_file(
    verify: Callable, bench: Path, tmp_path: Path
) -> None:
    verify(bench, "--temperature-c", 19.5)
    room = started(tmp_path).environment
    assert room is not None
    assert (room.temperature_c, room.humidity_percent) == (19.5, 41)
    assert room_text(room, "Imre Valdane") == (
        "19.5 °C (as told by Imre Valdane), 41 % relative humidity (as told by the bench file); "
        "not measured"
    )


def test_the_screen_says_for_which_analyzer_the_certificate_is(
    ohmwright: Callable, verify: Callable, bench: Path, tmp_path: Path
) -> None:
    def shown() -> str:
        out = ohmwright("record", "show", "--records", tmp_path / "r").out
        return " ".join(out.split())

    verify(bench)
    assert "due 2026-08-18 No serial number in it; the bench file says" in shown()
    known = started(tmp_path).analyzer.split(",")[2].strip()
    own = bench.parent / "own.toml"
    own.write_text(f'serial = "{known}"\n{own.read_text()}')
    verify(bench)
    assert f"due 2026-08-18 For serial number {known}, as the analyzer is named" in shown()


def test_a_room_nobody_works_in_is_refused(verify: Callable, bench: Path) -> None:
    assert verify(bench, "--humidity-percent", 140).code == 2


def test_a_bench_without_a_certificate_says_so(verify: Callable, bench: Path) -> None:
    bench.write_text(bench.read_text().replace('certificate = "own.toml"', ""))
    outcome = verify(bench)
    assert "NO ANALYZER CERTIFICATE" in outcome.out
    said = " ".join(outcome.out.split())
    assert "PASS and FAIL are not traceable. Such values have no P" in said
    assert ("95 %" in said, "99.9" in said, "Decided by: simple acceptance." in said) == (
        *(False, False),
        True,
    )
    for result in verify(bench, "--json").json["results"]:
        held = result["conformity"]
        assert (held["probability"], held["uncertainty_ratio"]) == (None, None)
        assert (result["measured"]["coverage_factor"], result["verdict_by"]) == (
            None,
            "not traceable",
        )


def test_a_certificate_that_is_not_there_names_those_that_are(
    verify: Callable, bench: Path
) -> None:
    bench.write_text(bench.read_text().replace("own.toml", "nobody"))
    outcome = verify(bench)
    assert outcome.code == 2
    assert f"{bench}:6:1: there is no certificate 'nobody'" in outcome.err
    assert "gantry-400, plover-200" in outcome.err


def test_a_current_that_the_certificate_does_not_cover_is_refused(
    ohmwright: Callable, verify: Callable, procedure: Path, bench: Path
) -> None:
    own = bench.parent / "own.toml"
    own.write_text(own.read_text().replace("up_to_ma = 2800", "up_to_ma = 800"))
    for outcome in (verify(bench), ohmwright("lint", procedure, "--bench", bench)):
        assert outcome.code == 2
        assert "900 mA at 100 ohm is over the 800 mA that the analyzer's certificate" in outcome.err


def test_doctor_looks_at_the_date(ohmwright: Callable, bench: Path) -> None:
    def finding() -> dict[str, object]:
        findings = ohmwright("doctor", "--bench", bench, "--json").json
        return next(f for f in findings if f["check"] == "analyzer's certificate")

    assert finding()["state"] == "good"
    expire(bench)
    assert finding() == {
        "check": "analyzer's certificate",
        "state": "NOT GOOD",
        "detail": "CAL-25-1187, expired 2025-12-31",
        "code": 2,
    }
    assert ohmwright("doctor", "--bench", bench).code == 2


def test_doctor_cannot_call_a_missing_certificate_good(ohmwright: Callable, bench: Path) -> None:
    bench.write_text(bench.read_text().replace('certificate = "own.toml"', ""))
    outcome = ohmwright("doctor", "--bench", bench, "--json")
    assert outcome.code == 0
    finding = next(f for f in outcome.json if f["check"] == "analyzer's certificate")
    assert finding["state"] == "not checked"
    assert "readings alone" in finding["detail"]


def test_doctor_sees_a_certificate_of_another_analyzer(ohmwright: Callable, bench: Path) -> None:
    own = bench.parent / "own.toml"
    text = own.read_text(encoding="utf-8")
    own.write_text('serial = "S000099"\n' + text, encoding="utf-8")
    outcome = ohmwright("doctor", "--bench", bench, "--json")
    assert outcome.code == 2
    finding = next(f for f in outcome.json if f["check"] == "analyzer's certificate")
    assert (finding["state"], "serial number S000099" in finding["detail"]) == ("NOT GOOD", True)


def test_lint_refuses_what_a_run_refuses(ohmwright: Callable, procedure: Path, bench: Path) -> None:
    assert ohmwright("lint", procedure, "--bench", bench).code == 0
    expire(bench)
    outcome = ohmwright("lint", procedure, "--bench", bench)
    assert (outcome.code, "expired on 2025-12-31" in outcome.err) == (2, True)


def test_a_procedure_decides_by_its_rule(verify: Callable, procedure: Path, bench: Path) -> None:
    text = procedure.read_text().replace(
        "[[step]]", '[decision]\nrule = "guard band"\n\n[[step]]', 1
    )
    procedure.write_text(text.replace("percent = 5", "percent = 1.2"))
    document = verify(bench, "--json").json
    held = document["results"][1]["conformity"]
    target, measured = document["results"][1]["target"], document["results"][1]["measured"]
    assert held["rule"] == "guard band w = 1 U"
    assert held["accept_to"] == pytest.approx(target["upper"] - measured["expanded"])
    assert document["results"][1]["verdict"] == "undecided"


def test_tables_show_uncertainty_ratio_and_probability(verify: Callable, bench: Path) -> None:
    out = verify(bench).out
    for words in ("±", "TUR", "P %", "Decided by: simple acceptance"):
        assert words in out


def test_budgets_can_be_shown_line_by_line(
    ohmwright: Callable, verify: Callable, bench: Path, tmp_path: Path
) -> None:
    verify(bench)
    out = ohmwright("record", "show", "--records", tmp_path / "r", "--budgets").out
    for words in ("Uncertainty budgets", "meter accuracy", "load drift", "combined (linear), k ="):
        assert words in out
    assert max(map(len, out.partition("Uncertainty budgets")[2].splitlines())) <= 80


def test_a_sweep_says_what_its_uncertainty_rests_on(ohmwright: Callable, bench: Path) -> None:
    options = ("--mode", "cut", "--settings", "150", "--loads", "500")
    known = ohmwright("sweep", "--bench", bench, *options, "--json").json[0]
    expire(bench)
    assert "expired on" in ohmwright("sweep", "--bench", bench, *options).err
    accepted = (*options, "--accept-expired")
    late = ohmwright("sweep", "--bench", bench, *accepted, "--json").json[0]
    assert (known["certified"], late["certified"]) == (True, False)
    assert "out of date" in ohmwright("sweep", "--bench", bench, *accepted).out


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        (182.234, 3.06, "182.2 ± 3.1"),
        (80.9812, 0.957, "80.98 ± 0.96"),
        (1234.5, 12.4, "1234 ± 12"),
        (5.2, 0.0961, "5.200 ± 0.096"),
        (5.2, 0.0996, "5.20 ± 0.10"),
        (182.234, None, "182.2"),
    ],
)
def test_uncertainty_is_stated_to_two_digits(
    value: float, expanded: float | None, text: str
) -> None:
    measured = Measured(value=value, uncertainty=1.0, dof=9, age_s=6, expanded=expanded)
    assert value_with_uncertainty(measured) == text

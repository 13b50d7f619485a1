"""The fleet report: what failed, was adjusted, recurs and is at risk, alike in every form."""

import csv
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import BytesIO, StringIO
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from pypdf import PdfReader

from ohmwright.api import creep, risk_curves
from ohmwright.api import fleet_paper as fleet_paper_module
from ohmwright.api import fleet_report as fleet_report_module
from ohmwright.api.fleet_paper import fleet_paper
from ohmwright.api.fleet_report import (
    FleetReport,
    ReportSpan,
    fleet_report,
    was_left_as_it_was,
)
from ohmwright.fleet.charts import western_electric
from ohmwright.fleet.creep_table import creep_rows, unit_creep
from ohmwright.fleet.fleet_review import WithoutPass
from ohmwright.fleet.surprise_chart import SurpriseChart, VisitSurprise
from ohmwright.fleet.years import years_of
from ohmwright.model.errors import UsageError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.records.asset_register import AssetRegister, AssetRevision
from ohmwright.records.qualified import Qualified
from ohmwright.records.queries import fetch_rows, reported_results
from ohmwright.records.sql_store import SqlStore, open_store
from ohmwright.reports.table_paper import PaperTable, TablePaper
from ohmwright.reports.verdict_grounds import READINGS_MARK
from scripts.creep_history import NOW, write_histories

SPAN = ReportSpan(NOW - timedelta(days=500), NOW, simulated=True)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("report")


@pytest.fixture(scope="module")
def store(folder: Path) -> SqlStore:
    with open_store(str(folder / "records"), folder / "key", folder / "witness") as made:
        write_histories(made, units=20, years=7.0, seed=8)
        yield made


@pytest.fixture(scope="module", autouse=True)
def _forecasts_kept(folder: Path) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        for module in (creep, risk_curves):
            patch.setattr(module, "forecast_folder", lambda: folder / "cache")
        yield


@pytest.fixture(scope="module")
def report(store: SqlStore) -> FleetReport:
    return fleet_report(store, SPAN)


@pytest.fixture(scope="module")
def paper(report: FleetReport) -> TablePaper:
    return fleet_paper(report)


def test_it_counts_what_is_on_record(store: SqlStore, report: FleetReport) -> None:
    rows = fetch_rows(store.database, reported_results(True, SPAN.since, SPAN.until))
    here = [row for row in rows if row.at >= SPAN.since.isoformat()]
    failed = [row for row in here if (row.stage, row.verdict) == ("as_found", "fail")]
    assert failed, "the histories must have failures"
    assert len(report.review.failures) == len(failed)
    assert sum(m.failed for m in report.review.models) == len({row.run for row in failed})
    assert {one.run_id for one in report.review.adjusted} == {
        row.run_id for row in here if row.stage == "adjust"
    }
    assert all(one.found == "fail" for one in report.review.adjusted)
    for one in report.review.recurring:
        assert len(one.dates) > 1
        assert one.dates[-1] >= SPAN.since
    assert any(one.dates[0] < SPAN.since for one in report.review.recurring)
    for model in report.review.models:
        limits = model.failure_limits
        assert limits.lower <= model.failed / model.visits <= limits.upper


def test_every_form_names_the_state_of_the_records(
    store: SqlStore, report: FleetReport, tmp_path: Path
) -> None:
    newest = store.newest_entry()
    said = f"Made from the records as of entry {newest.number}, hash {newest.hash.hex()[:12]}"
    for name in ("r.pdf", "r.html", "r.csv"):
        report.write(tmp_path / name)
    assert said in (tmp_path / "r.html").read_text("utf-8")
    pages = PdfReader(tmp_path / "r.pdf").pages
    assert all(said in " ".join(page.extract_text().split()) for page in pages)
    rows = list(csv.DictReader(StringIO((tmp_path / "r.csv").read_text("utf-8-sig"))))
    assert {(row["records_entry"], row["records_hash"]) for row in rows} == {
        (str(newest.number), newest.hash.hex())
    }


def test_an_adjustment_point_whose_trim_stayed_is_no_adjustment() -> None:
    def said(**trims: int | None) -> bytes:
        return json.dumps({"kind": "point_done", "result": {"stage": "adjust", **trims}}).encode()

    assert was_left_as_it_was(said(start_trim=-110, final_trim=-110))
    assert not was_left_as_it_was(said(start_trim=-110, final_trim=-100))
    assert not was_left_as_it_was(said(start_trim=None, final_trim=None))  # older records


def test_only_what_was_moved_counts_as_adjusted(
    store: SqlStore, report: FleetReport, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fleet_report_module, "was_left_as_it_was", lambda _: True)
    unmoved = fleet_report(store, SPAN).review
    assert report.review.adjusted
    assert unmoved.adjusted == ()
    assert all(model.adjusted == 0 for model in unmoved.models)
    assert unmoved.failures == report.review.failures


def test_a_failure_by_no_value_stands_in_the_table_without_figures(report: FleetReport) -> None:
    first = report.review.failures[0]
    failures = (replace(first, value=None), replace(first, limits=None))
    of_these = fleet_paper(replace(report, review=replace(report.review, failures=failures)))
    (table,) = (table for table in of_these.tables if table.heading == "Failed as found")
    shown = [tuple(bool(cell) for cell in row[4:]) for row in table.rows]
    (whole,) = (t for t in fleet_paper(report).tables if t.heading == "Failed as found")
    assert {row[-1][0] for row in whole.rows} <= {"+", "−"}
    assert shown == [(False, True, False), (False, False, False)]


def test_each_visit_that_left_no_pass_is_named_as_often_as_it_is_counted(
    report: FleetReport,
) -> None:
    first = report.review.failures[0]
    visit = WithoutPass(first.at, first.run_id, first.asset, first.model, "undecided", True, None)
    later = replace(visit, qualified=False, passed_at=first.at)
    review = replace(report.review, without_pass=(visit, later))
    (table,) = _headed(fleet_paper(replace(report, review=review)), "Left without a pass")
    assert [row[1] for row in table.rows] == [first.asset] * 2
    day = f"{first.at:%Y-%m-%d}"
    assert [row[3:] for row in table.rows] == [("undecided*", "no"), ("undecided", f"on {day}")]
    counted = sum(model.not_passed_as_left for model in report.review.models)
    (whole,) = _headed(fleet_paper(report), "Left without a pass")
    assert len(whole.rows) == counted


def _headed(paper: TablePaper, heading: str) -> list[PaperTable]:
    return [table for table in paper.tables if table.heading == heading]


def test_a_span_that_ends_amid_a_day_says_at_what_time() -> None:
    begun = datetime(2026, 11, 30, tzinfo=UTC)
    amid = ReportSpan(begun, begun + timedelta(hours=18, minutes=48), simulated=False)
    assert amid.words == "2026-11-30 to before 2026-11-30 18:48 UTC"
    assert replace(amid, until=begun + timedelta(1)).words == "2026-11-30 to before 2026-12-01"


def test_void_runs_that_are_left_out_are_told(report: FleetReport, paper: TablePaper) -> None:
    assert "Left out" not in dict(paper.facts)
    assert dict(fleet_paper(replace(report, void_runs=2)).facts)["Left out"] == "2 void runs"


@pytest.mark.parametrize(
    ("ground", "fact", "column", "note_begins"),
    [
        ("uncovered", "Not traceable", "not_traceable", "*: not traceable. No a"),
        ("past_due", "Analyzer past due", "analyzer_past_due", "* in all or in part by"),
    ],
)
def test_what_no_analyzer_certificate_in_date_covers_is_marked(
    report: FleetReport, paper: TablePaper, tmp_path: Path,
    ground: str, fact: str, column: str, note_begins: str,
) -> None:  # fmt: skip
    assert report.marked == Qualified()
    assert not any(note.startswith(READINGS_MARK) for note in paper.notes)
    point = report.at_risk()[0].points[-1]
    key = (point.asset, point.step, point.point)
    first, *failures = report.review.failures
    model, *models = report.review.models
    adjusted, *more = report.review.adjusted
    recurring, *again = report.review.recurring
    review = replace(
        report.review,
        failures=(replace(first, qualified=True), *failures),
        models=(replace(model, **{ground: 1}), *models),
        adjusted=(replace(adjusted, left_qualified=True), *more),
        recurring=(replace(recurring, qualified=True), *again),
    )
    bare = replace(report, marked=Qualified(**{ground: frozenset({key})}), review=review)
    marked = fleet_paper(bare)
    tables = {table.heading: table for table in marked.tables}
    for heading, ends in (
        ("Models", [model.model]),
        ("Failed as found", [f"{first.value:.4g}"]),
        ("Adjusted", [adjusted.left]),
        ("Recurring", [f"{recurring.dates[-1]:%Y-%m-%d}"]),
        ("At risk within a year", ["%", "%"]),
    ):
        cells = [cell for row in tables[heading].rows for cell in row if cell.endswith("*")]
        assert len(cells) == len(ends), heading
        assert all(cell.endswith(f"{end}*") for cell, end in zip(cells, ends, strict=True))
    assert dict(marked.facts)[fact] == "1 visit, marked *"
    assert [note[:22] for note in marked.notes if note.startswith("*")] == [note_begins]
    by_earlier_visits = fleet_paper(replace(bare, review=report.review))
    assert [note[:22] for note in by_earlier_visits.notes if note.startswith("*")] == [note_begins]
    bare.write(tmp_path / "bare.csv")
    rows = csv.DictReader(StringIO((tmp_path / "bare.csv").read_text("utf-8-sig")))
    said = {(row["asset"], row["step"], row["point"]): row[column] for row in rows}
    assert [key for key, value in said.items() if value != said[min(said)]] in ([key], [])
    assert said[key] not in {value for other, value in said.items() if other != key}


def test_pdf_and_html_say_the_same(report: FleetReport, tmp_path: Path) -> None:
    report.write(tmp_path / "fleet.pdf")
    report.write(tmp_path / "fleet.html")
    pages = PdfReader(BytesIO((tmp_path / "fleet.pdf").read_bytes())).pages
    pdf = " ".join("".join(page.extract_text() for page in pages).split())
    html = (tmp_path / "fleet.html").read_text()
    for said in ("SIMULATED", "Failed as found", "Recurring", "At risk within a year", "HF-007"):
        assert said in pdf
        assert said in html
    for failure in report.review.failures:
        assert f"{failure.value:.4g}" in pdf
        assert f"{failure.value:.4g}" in html
    before = (tmp_path / "fleet.pdf").read_bytes()
    report.write(tmp_path / "fleet.pdf")
    assert (tmp_path / "fleet.pdf").read_bytes() == before


def test_each_value_names_its_column_since_on_a_phone_it_stands_under_that(
    paper: TablePaper,
) -> None:
    html = paper.html()
    for table in paper.tables:
        _, _, section = html.partition(f"<h2>{table.heading}</h2>")
        named = re.findall(r'<td[^>]* data-column="([^"]*)"', section.partition("<h2>")[0])
        assert named == [*table.columns] * len(table.rows), table.heading


def test_at_risk_is_what_creep_says_of_the_year_though_the_risk_may_fall_again(
    store: SqlStore, report: FleetReport
) -> None:
    end = SPAN.until + timedelta(days=365)
    rows = creep_rows(creep.recorded_forecast(store, simulated=True), SPAN.until)
    leaving = [u for u in unit_creep(rows) if u.leaves_at is not None and u.leaves_at <= end]
    due = {unit.riskiest.asset for unit in report.at_risk()}
    assert {unit.riskiest.asset for unit in leaving} == due
    assert 0 < len(due) < 20
    for unit in report.units():
        of_points = max(row.within_year for row in unit.points)
        assert unit.risk.within_year == of_points >= unit.riskiest.risk
    units = [unit.riskiest.asset for unit in unit_creep(rows)]
    assert [u.riskiest.asset for u in report.at_risk()] == [u for u in units if u in due]


def test_a_report_of_a_past_time_foretells_by_what_was_measured_before_its_end(
    store: SqlStore, report: FleetReport
) -> None:
    until = SPAN.until - timedelta(days=400)
    past = fleet_report(store, ReportSpan(until - timedelta(days=500), until, simulated=True))
    assert past.forecast.last_at.max() <= years_of(until) < report.forecast.last_at.max()
    assert {row.asset for row in past.rows} <= {row.asset for row in report.rows}


def test_a_withdrawn_unit_counts_as_seen_and_is_not_at_risk(
    store: SqlStore, report: FleetReport, monkeypatch: pytest.MonkeyPatch
) -> None:
    gone, *others = report.at_risk()
    tag = gone.riskiest.asset
    monkeypatch.setattr(AssetRegister, "withdrawn", lambda _: frozenset({tag}))
    without = fleet_report(store, SPAN)
    assert [unit.riskiest.asset for unit in without.at_risk()] == [
        unit.riskiest.asset for unit in others
    ]
    paper = fleet_paper(without)
    assert dict(paper.facts)["Units seen"] == (f"{len(report.review.assets)}, 1 of them withdrawn")
    assert tag not in paper.pictures[0].alt
    assert {row["asset"] for row in without.table() if row["withdrawn"]} == {tag}
    assert without.review == report.review


def test_units_in_use_that_were_not_seen_are_counted_but_not_of_a_campaign(
    store: SqlStore, report: FleetReport, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "Units in use and not seen" not in dict(fleet_paper(report).facts)
    seen = min(report.review.assets)
    unit = RegisteredAsset(tag=seen, maker="T", model="Q", serial="1")
    elsewhere = unit.model_copy(update={"tag": "HF-X"})
    gone = unit.model_copy(update={"tag": "HF-Y", "state": "withdrawn"})
    known = [AssetRevision(one, 1, "", "", "added", "") for one in (unit, elsewhere, gone)]
    monkeypatch.setattr(AssetRegister, "all", lambda _: known)
    whole = fleet_report(store, SPAN)
    assert dict(fleet_paper(whole).facts)["Units in use and not seen"] == "1"
    runs = [report.review.failures[0].run_id]
    assert fleet_report(store, replace(SPAN, campaign="may", run_ids=runs)).not_seen == 0


def test_each_ring_of_the_control_charts_stands_in_words(
    report: FleetReport, monkeypatch: pytest.MonkeyPatch
) -> None:
    values = (0.1, 3.5, -0.2, 0.3, 2.4, -0.1, 2.5)
    visits = tuple(
        VisitSurprise(NOW + timedelta(days=day), f"HF-{day}", value)
        for day, value in enumerate(values)
    )
    chart = SurpriseChart("Quillon 300", visits, western_electric(values, 0.0, 1.0))
    monkeypatch.setattr(fleet_paper_module, "surprise_charts", lambda *_: [chart])
    paper = fleet_paper(report)
    (table,) = (t for t in paper.tables if t.heading == "Visits off their forecast")
    assert [row[1:] for row in table.rows] == [
        ("2026-06-02", "HF-1", "one beyond 3 standard deviations", "3.5"),
        ("2026-06-07", "HF-6", "two of three beyond 2 standard deviations on one side", "2.5"),
    ]
    assert "7 visits, 2 with a ring" in paper.pictures[-1].alt


def test_csv_and_parquet_have_a_row_for_each_point(report: FleetReport, tmp_path: Path) -> None:
    for form in ("csv", "parquet"):
        report.write(tmp_path / f"fleet.{form}")
    text = (tmp_path / "fleet.csv").read_bytes().decode("utf-8-sig")
    rows = list(csv.DictReader(StringIO(text)))
    table = pq.read_table(tmp_path / "fleet.parquet").to_pylist()
    assert len(rows) == len(table) == 40
    for said, typed in zip(rows, table, strict=True):
        assert said["asset"] == typed["asset"]
        assert float(said["probability_out"]) == pytest.approx(typed["probability_out"], rel=1e-11)
    assert sum(row["failed_as_found"] for row in table) == len(report.review.failures)
    with pytest.raises(UsageError, match="cannot be written with this ending"):
        report.write(tmp_path / "fleet.txt")


def test_of_some_runs_it_speaks_of_their_units_alone(store: SqlStore, report: FleetReport) -> None:
    some = {one.run_id for one in report.review.adjusted[:1]}
    campaign = ReportSpan(SPAN.since, SPAN.until, True, "spring", some)
    of_campaign = fleet_report(store, campaign)
    assert {row.asset for row in of_campaign.rows} == {report.review.adjusted[0].asset}
    assert sum(model.visits for model in of_campaign.review.models) == 1
    with pytest.raises(UsageError, match="no results of real units"):
        fleet_report(store, ReportSpan(SPAN.since, SPAN.until, simulated=False))

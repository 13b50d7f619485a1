"""Curves: written and read, drawn, compared with what they share left out, and remarked on."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import UTC, datetime
from errno import EDQUOT, EFBIG, ENOSPC
from math import sqrt
from pathlib import Path

import numpy as np
import pyarrow.parquet
import pytest

import ohmwright
from ohmwright.api import curve_plot
from ohmwright.api.curve import Curve, CurveOrigin, CurvePoint
from ohmwright.api.curve_band import band_limits
from ohmwright.api.output_file import write_whole
from ohmwright.cli.sweep_output import _table
from ohmwright.engine.sweep_estimate import SweepEstimate
from ohmwright.model.bench_file import Asset
from ohmwright.model.errors import OhmwrightError, UsageError
from ohmwright.model.result import BudgetEntry, Measured
from ohmwright.model.shipped import shipped
from tests.full_disk import files_of_at_most

_PLAN = ohmwright.Sweep(modes={"cut": (155, 310), "coag": (40,)}, loads_ohm=(100, 500, 2000))
PROCEDURE = "demo-monopolar.toml"


@pytest.fixture(scope="module")
def curve(tmp_path_factory: pytest.TempPathFactory) -> Curve:

    with ohmwright.bench(shipped("benches", "demo.toml")) as bench:
        return bench.measure(_PLAN, records=str(tmp_path_factory.mktemp("records")))


def test_parquet_keeps_the_whole_curve_and_csv_every_figure(curve: Curve, tmp_path: Path) -> None:
    curve.save(tmp_path / "curve.parquet")
    curve.save(tmp_path / "curve.csv")
    assert ohmwright.read(tmp_path / "curve.parquet") == curve
    again = ohmwright.read(tmp_path / "curve.csv")
    assert again.origin.run == curve.origin.run
    for ours, theirs in zip(curve, again, strict=True):
        assert ours.key == theirs.key
        assert theirs.power_w == pytest.approx(ours.power_w, abs=1e-4)
        assert theirs.power.expanded == pytest.approx(ours.power.expanded, abs=1e-4)
        assert theirs.current.coverage_factor == pytest.approx(
            ours.current.coverage_factor, abs=1e-4
        )
    rows = list(csv.DictReader((tmp_path / "curve.csv").read_text("utf-8").splitlines()))
    for row in rows:
        for name in ("current", "power"):
            unit = {"current": "ma", "power": "w"}[name]
            u, k = float(row[f"{name}_uncertainty_{unit}"]), float(row[f"{name}_k"])
            assert float(row[f"{name}_expanded_{unit}"]) == pytest.approx(k * u, abs=2e-3)


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_what_a_point_lacks_is_kept_in_every_file(
    curve: Curve, tmp_path: Path, ending: str
) -> None:
    lacking = [{"certified": False}, {"settled": False, "reason": "it rises"}, {}]
    points = [one.model_copy(update=lack) for one, lack in zip(curve, lacking, strict=False)]
    Curve(tuple(points), curve.origin).save(tmp_path / f"curve.{ending}")
    again = ohmwright.read(tmp_path / f"curve.{ending}")
    assert [one.certified for one in again] == [False, True, True]
    settled = [(one.settled, one.reason) for one in again]
    assert settled == [(True, ""), (False, "it rises"), (True, "")]


def test_pandas_reads_parquet_as_the_curve_says(curve: Curve, tmp_path: Path) -> None:
    import pandas

    curve.save(tmp_path / "curve.parquet")
    read = pandas.read_parquet(tmp_path / "curve.parquet")
    assert list(read["power_w"]) == list(curve.to_pandas()["power_w"])
    assert set(read["unit"]) == {"HF-017"}


@pytest.mark.parametrize("text", ["", "mode,setting_w\ncut,3\n", "\x00\x01"])
def test_another_file_is_refused_as_no_curve(tmp_path: Path, text: str) -> None:
    for name in ("other.csv", "other.parquet"):
        (tmp_path / name).write_text(text, encoding="utf-8")
        with pytest.raises(ohmwright.OhmwrightError, match="no curve as a sweep writes it"):
            ohmwright.read(tmp_path / name)
    with pytest.raises(ohmwright.OhmwrightError, match=r"cannot be read(.|\n)*Check the name"):
        ohmwright.read(tmp_path / "none.csv")


def test_a_csv_is_read_as_a_spreadsheet_saves_it(curve: Curve, tmp_path: Path) -> None:
    curve.save(tmp_path / "curve.csv")
    text = (tmp_path / "curve.csv").read_text(encoding="utf-8")
    saved = text.replace("True", "TRUE").replace("False", "FALSE")
    (tmp_path / "marked.csv").write_text(saved, encoding="utf-8-sig")
    plain = ohmwright.read(tmp_path / "curve.csv")
    assert ohmwright.read(tmp_path / "marked.csv").points == plain.points


def test_a_damaged_row_of_a_csv_is_named(curve: Curve, tmp_path: Path) -> None:
    curve.save(tmp_path / "curve.csv")
    head, first, second, *_ = (tmp_path / "curve.csv").read_text(encoding="utf-8").splitlines()
    part, cells = tmp_path / "part.csv", second.split(",")
    for damaged, says in [
        (second[: len(second) // 3], "row 3 is cut short"),
        (second.replace(",", ",x", 1), "row 3: could not convert"),
        (first, "row 3 has a point that an earlier row has, too"),
        (second.replace(curve.origin.run, "other"), "row 3 is of another run, other"),
        (second.replace("True", "1", 1), "row 3: neither True nor False: '1'"),
        (",".join((*cells[:7], "-1", *cells[8:])), "row 3: a negative uncertainty, -1"),
    ]:
        part.write_text("\n".join((head, first, damaged)), encoding="utf-8")
        with pytest.raises(ohmwright.OhmwrightError, match=says):
            ohmwright.read(part)


def made(
    powers: dict[tuple[float, float], tuple[float, ...]],
    readings_w: float,
    meter_w: float,
    shared: str | None = "meter, CAL-1",
) -> Curve:
    """A curve with repeats, each value with a line of its own and one that all share."""
    lines = (
        BudgetEntry(source="readings", evaluation="A", standard_uncertainty=readings_w),
        BudgetEntry(source="meter", evaluation="B", standard_uncertainty=meter_w, shared=shared),
    )
    u = sqrt(readings_w**2 + meter_w**2)
    points = [
        CurvePoint(
            mode="cut",
            setting_w=setting_w,
            load_ohm=load_ohm,
            repeat=repeat,
            power=Measured(
                value=value,
                uncertainty=u,
                dof=1e6,
                age_s=6,
                expanded=1.96 * u,
                coverage_factor=1.96,
                budget=lines,
            ),
            current=None,
            settled=True,
            reason="",
            certified=True,
            on_s=6,
            at=datetime(2026, 1, 5, tzinfo=UTC),
        )
        for (setting_w, load_ohm), values in powers.items()
        for repeat, value in enumerate(values, start=1)
    ]
    asset = Asset(id="A", maker="m", model="M", serial="1")
    origin = CurveOrigin(
        run="r",
        asset=asset,
        analyzer="a",
        certificate="CAL-1",
        software="s",
        begun_at=datetime(2026, 1, 5, tzinfo=UTC),
        age_s=6,
        seed=None,
    )
    return Curve(tuple(points), origin)


@pytest.mark.parametrize("shared", ["meter, CAL-1", None])
def test_the_uncertainty_of_a_difference_of_means_is_that_of_draws(shared: str | None) -> None:
    """Held against draws by numpy: what all values share is drawn once (GUM F.1.2.3)."""
    ours = made({(100, 500): (101.0, 102.0, 103.0)}, 1.0, 3.0, shared)
    theirs = made({(100, 500): (99.0, 100.0)}, 0.5, 2.0, shared)
    (found,) = ours.compare(theirs)
    assert found.difference_w == pytest.approx(102.0 - 99.5)

    draw, n = np.random.default_rng(5), 200_000
    common = draw.standard_normal(n)

    def mean_of(count: int, readings_w: float, meter_w: float) -> np.ndarray:
        own = draw.standard_normal((count, n)) * readings_w
        meter = common if shared else draw.standard_normal((count, n))
        return np.mean(own + meter * meter_w, axis=0)

    drawn = mean_of(3, 1.0, 3.0) - mean_of(2, 0.5, 2.0)
    assert found.expanded_w == pytest.approx(1.96 * drawn.std(), rel=0.01)
    assert found.certain == (abs(found.difference_w) > found.expanded_w)


def test_a_curve_read_from_csv_shares_nothing(curve: Curve, tmp_path: Path) -> None:
    curve.save(tmp_path / "curve.csv")
    alone = ohmwright.read(tmp_path / "curve.csv")
    whole = curve.compare(curve)
    apart = curve.compare(alone)
    for same, other in zip(whole, apart, strict=True):
        assert same.difference_w == 0
        assert other.expanded_w > 2 * same.expanded_w


@pytest.mark.parametrize(
    "other", [{"analyzer": "b", "certificate": "CAL-2"}, {"certificate": "CAL-2"}, {}]
)
def test_what_repeats_of_a_csv_share_is_not_averaged_away(
    other: dict[str, str], tmp_path: Path
) -> None:
    """Two analyzers, five repeats: U of the difference was less than half of what draws have."""
    repeats, readings_w, meter_w = 5, 1.0, 3.0
    curves = []
    for name, told in (("ours", {}), ("theirs", other)):
        made_one = made({(100, 500): (100.0,) * repeats}, readings_w, meter_w, "meter")
        replace(made_one, origin=made_one.origin.model_copy(update={"age_s": 6.0, **told})).save(
            tmp_path / f"{name}.csv"
        )
        curves.append(ohmwright.read(tmp_path / f"{name}.csv"))
    (found,) = curves[0].compare(curves[1])

    draw, n = np.random.default_rng(5), 100_000
    meters = draw.standard_normal((2, n)) if other else draw.standard_normal((1, n)).repeat(2, 0)
    means = [draw.standard_normal((repeats, n)).mean(axis=0) * readings_w for _ in range(2)]
    drawn = means[0] + meters[0] * meter_w - means[1] - meters[1] * meter_w
    assert 1.96 * drawn.std() < found.expanded_w < 1.96 * 2 * (readings_w + meter_w)


def test_a_higher_setting_that_surely_gives_less_is_remarked() -> None:
    falls = made({(50, 500): (50.0,), (100, 500): (45.0,), (150, 500): (60.0,)}, 0.5, 3.0)
    (said,) = falls.remarks()
    assert said.startswith("cut 100 W, 500 ohm: 5.0 W less than at 50 W (U = ")
    unsure = made({(50, 500): (50.0,), (100, 500): (49.0,)}, 0.5, 3.0)
    assert unsure.remarks() == ()
    elsewhere = made({(50, 500): (50.0,), (100, 100): (10.0,)}, 0.5, 3.0)
    assert elsewhere.remarks() == ()


def test_limits_are_of_outputs_alone_and_in_watts() -> None:

    limits = band_limits(shipped("procedures", PROCEDURE), "Quillon 300")
    assert limits["cut", 310, 500] == pytest.approx((305.6 * 0.94, 305.6 * 1.06))
    assert limits["cut", 310, 200][0] > 100, "a limit of leakage is none of the output"


def test_a_mean_stands_where_every_other_curve_has_a_value(curve: Curve) -> None:
    fewer = replace(curve, points=tuple(p for p in curve.points if p.load_ohm != 500))
    panel = curve.plot(against=[curve, fewer]).axes[0]
    (mean,) = (line for line in panel.lines if str(line.get_label()).startswith("mean of"))
    assert 500 in {p.load_ohm for p in curve.points}
    assert 500 not in mean.get_xdata()


def test_a_picture_shows_bars_limits_and_others(curve: Curve, tmp_path: Path) -> None:

    figure = curve.plot(band=shipped("procedures", PROCEDURE), against=[curve, curve])
    panels = figure.axes
    assert [panel.get_title() for panel in panels] == ["cut", "coag"]
    labels = panels[0].get_legend_handles_labels()[1]
    assert {"limits for 310 W", "mean of 2 others", "155 W, ± U", "310 W, ± U"} <= set(labels)
    bars = [c for c in panels[0].containers if c.get_label() == "310 W, ± U"]
    low, high = bars[0].lines[2][0].get_segments()[1][:, 1]
    middle = next(p for p in curve if p.key == ("cut", 310, 500))
    assert (high - low) / 2 == pytest.approx(middle.power.expanded)
    assert curve._repr_svg_() == curve._repr_svg_(), "equal curves give unequal text"
    curve.save(tmp_path / "curve.svg")
    assert "power in W" in (tmp_path / "curve.svg").read_text(encoding="utf-8")


def test_a_curve_and_a_cost_are_printed_in_one_line() -> None:
    whole = made({(100, 100): (9.0,), (100, 500): (99.0,)}, 0.5, 3.0)
    assert repr(whole) == "<Curve of A: 2 points, run r>"
    missing = Curve((whole.points[0].model_copy(update={"power": None}),), whole.origin)
    assert repr(missing) == "<Curve of A: 1 points, 1 not measured, run r>"
    cost = SweepEstimate((6.5, 21.5), 12.4, 900.0)
    assert repr(cost) == "<2 points: 28 s, RF on for 12 s>"


def test_a_picture_says_how_many_points_were_not_measured() -> None:
    whole = made({(100, 100): (9.0,), (100, 500): (99.0,)}, 0.5, 3.0)
    first, last = whole.points
    missing = last.model_copy(update={"power": None})
    for points, says in (((first, missing), "1"), ((missing, missing), "2")):
        (panel,) = Curve(points, whole.origin).plot().axes
        assert panel.get_legend_handles_labels()[1] == [f"100 W, ± U; not measured: {says}"]


def test_why_a_file_is_no_curve_is_said_in_words(curve: Curve, tmp_path: Path) -> None:
    for content, says in ((b"\xff\xfe\x80", "it is no text"), (b"a = 1\nb = 2\n", "no column")):
        (tmp_path / "other.toml").write_bytes(content)
        with pytest.raises(ohmwright.OhmwrightError, match=says):
            ohmwright.read(tmp_path / "other.toml")
    with pytest.raises(ohmwright.OhmwrightError) as refused:
        curve.save(tmp_path / "x.gif")
    assert "switched on" not in str(refused.value)
    assert "Nothing was written" in str(refused.value)


def test_a_comparison_shows_itself_in_a_line(curve: Curve) -> None:
    assert repr(curve.compare(curve)).endswith(" points, 0 differ by more than U>")
    assert "nothing was compared" in repr(curve.compare(replace(curve, points=())))


def test_a_curve_saved_over_a_file_says_nothing_of_a_bench(curve: Curve, tmp_path: Path) -> None:
    old = tmp_path / "old.csv"
    old.touch()
    with pytest.raises(UsageError) as refused:
        curve.save(old)
    assert "overwrite=True" in str(refused.value)
    assert "switched on" not in str(refused.value)


def test_limits_of_another_model_are_refused(curve: Curve, tmp_path: Path) -> None:
    other = tmp_path / "other.toml"
    text = shipped("procedures", PROCEDURE).read_text(encoding="utf-8")
    other.write_text(text.replace('model = "Quillon 300"', 'model = "Teasel 200"'))
    with pytest.raises(UsageError, match="the procedure is for Teasel 200, the curve of a Quillon"):
        curve.plot(band=other)


def test_limits_are_named_by_their_setting_or_said_to_be_none(curve: Curve) -> None:
    procedure = shipped("procedures", PROCEDURE)
    coag = replace(curve, points=tuple(p for p in curve.points if p.mode == "coag"))
    lack = f"{procedure.name} has no limits at these points"
    assert lack in coag.plot(band=procedure)._suptitle.get_text()  # no error: a live picture may
    assert lack not in curve.plot(band=procedure)._suptitle.get_text()  # begin with such points
    labels = curve.plot(band=20).axes[0].get_legend_handles_labels()[1]
    assert {"± 20 % of 155 W", "± 20 % of 310 W"} <= set(labels)
    colours = {
        area.get_label(): tuple(area.get_facecolor()[0][:3])
        for area in curve.plot(band=20).axes[0].collections
        if str(area.get_label()).startswith("±")
    }
    assert colours["± 20 % of 155 W"] != colours["± 20 % of 310 W"]


def test_modes_stand_in_the_order_of_the_plan(curve: Curve) -> None:
    assert curve.modes == ("cut", "coag")
    assert [panel.get_title() for panel in curve.plot().axes] == ["cut", "coag"]
    table = list(_table(curve).columns[0].cells)
    assert table == ["cut"] * 6 + ["coag"] * 3


def test_another_curve_is_given_itself_or_by_its_file(curve: Curve, tmp_path: Path) -> None:
    file = tmp_path / "c.csv"
    curve.save(file)
    assert len(curve.compare(str(file))) == len(curve.compare(curve)) > 3
    curve.plot(against=file)
    curve.plot(against=[curve, str(file)])
    for wrong in (5, [5]):
        with pytest.raises(UsageError, match="A curve is wanted, or the name of its file, not 5"):
            curve.plot(against=wrong)
    with pytest.raises(UsageError, match="not None"):
        curve.compare(None)
    with pytest.raises(OhmwrightError, match=r"nix\.csv"):
        curve.compare("nix.csv")


def test_a_picture_of_a_sweep_cut_short_says_so(curve: Curve) -> None:
    assert curve.origin.planned == len(curve) == 9
    assert (curve[0], curve[-1]) == (curve.points[0], curve.points[-1])
    part = replace(curve, points=curve.points[:5])
    assert "\n5 of 9 points, cut short" in curve_plot._title(part)
    assert "cut short" not in curve_plot._title(curve)


@pytest.mark.parametrize("ending", ["csv", "parquet", "svg", "png", "pdf"])
def test_a_disk_without_room_keeps_no_part_of_a_curve(
    curve: Curve, tmp_path: Path, ending: str
) -> None:
    full = pytest.raises(UsageError, match=r"cannot be written: File too large\.$")
    with files_of_at_most(900), full:
        curve.save(tmp_path / f"curve.{ending}")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("number", [ENOSPC, EDQUOT, EFBIG])
def test_no_part_is_kept_however_a_system_says_that_there_is_no_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    def cut_short(path: Path, content: bytes) -> int:
        with path.open("wb") as file:
            file.write(content[:3])
        raise OSError(number, "No room")

    monkeypatch.setattr(Path, "write_bytes", cut_short)
    with pytest.raises(UsageError, match=r"cannot be written: No room\.$"):
        write_whole(tmp_path / "curve.csv", b"whole")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("held", [None, {b"pandas": b"{}"}, {b"ohmwright_curve": b"[]"}])
def test_parquet_of_another_program_is_refused_in_words(
    tmp_path: Path, held: dict[bytes, bytes] | None
) -> None:
    other = pyarrow.table({"a": [1]}).replace_schema_metadata(held)
    pyarrow.parquet.write_table(other, tmp_path / "other.parquet")
    with pytest.raises(OhmwrightError, match="it holds no whole curve"):
        ohmwright.read(tmp_path / "other.parquet")


def test_a_folder_or_a_cell_without_end_is_refused_as_a_curve(tmp_path: Path) -> None:
    (tmp_path / "folder.parquet").mkdir()
    with pytest.raises(OhmwrightError, match="cannot be read: Is a directory"):
        ohmwright.read(tmp_path / "folder.parquet")
    (tmp_path / "long.csv").write_text(f'mode\n"{"x" * 200_000}"\n', encoding="utf-8")
    with pytest.raises(OhmwrightError, match="no curve as a sweep writes it"):
        ohmwright.read(tmp_path / "long.csv")

"""An invented meter and generator that a back end of another package works, and their files."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from .emulator import Served

PACKAGE = Path(__file__).parent / "fenwater"
ANALYZER = """[data]
maker = "Fenwater"
model = "Stilt 3"
backend = "fenwater-stilt"
options = { longest_s = 40 }

[data.load_bank]
loads_ohm = [50, 100, 200, 500, 1000]
max_power_w = 150
max_on_s = 60
duty = 1

[data.meter]
max_current_ma = 1500
resolution_ma = 0.1
readings_per_s = 10
window_s = 0.05

[data.activation]
max_limit_s = 60
"""
GENERATOR = """[data]
maker = "Dunlow"
model = "Marrick 120"
backend = "dunlow-marrick"
duty = 1

[[data.modes]]
name = "cut"
kind = "cut"
max_setting_w = 120
rated_load_ohm = 500
max_current_ma = 800

[data.service]
coarse_counts = 10
points = [{ name = "P1", mode = "cut", min_trim = -50, max_trim = 50, count_ma = 5 }]
"""
PROCEDURE = """title = "Cut output, Marrick 120"
revision = "1"
model = "Marrick 120"

[defaults]
rest_s = 30  # nobody states how this unit droops
age_s = 1
max_on_s = 12

[[step]]
kind = "output"
name = "cut-rated"
mode = "cut"
setting_w = 60
load_ohm = 500
power_w = 60
tolerance = { percent = 10 }

[[step]]
kind = "adjust"
name = "adjust-p1"
point = "P1"
load_ohm = 50
current_ma = 800
tolerance = { absolute_ma = 12 }
max_on_s = 30
"""


def installed_in(folder: Path) -> Path:
    """`folder`, with the package put there as an installer puts it."""
    about = tomllib.loads((PACKAGE / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    shutil.copy(PACKAGE / "fenwater_back_ends.py", folder)
    info = folder / f"fenwater_back_ends-{about['version']}.dist-info"
    info.mkdir()
    metadata = f"Metadata-Version: 2.1\nName: {about['name']}\nVersion: {about['version']}\n"
    (info / "METADATA").write_text(metadata, encoding="utf-8")
    groups = about["entry-points"].items()
    lines = [f"[{g}]\n" + "".join(f"{n} = {to}\n" for n, to in e.items()) for g, e in groups]
    (info / "entry_points.txt").write_text("\n".join(lines), encoding="utf-8")
    return folder


@pytest.fixture
def served() -> Iterator[Served]:
    served = Served()
    yield served
    served.close()


def bench_files(folder: Path, ports: Sequence[int]) -> Path:
    """A bench file in `folder` that reaches the emulators, with its data files and a procedure."""
    meter, unit = ports
    (folder / "stilt.toml").write_text(ANALYZER, encoding="utf-8")
    (folder / "marrick.toml").write_text(GENERATOR, encoding="utf-8")
    (folder / "marrick-cut.toml").write_text(PROCEDURE, encoding="utf-8")
    bench = folder / "bench.toml"
    bench.write_text(
        f"""name = "Fenwater bench"

[analyzer]
data = "stilt.toml"
link = {{ kind = "tcp", port = {meter} }}
identity = "no 0412"

[generator]
data = "marrick.toml"
link = {{ kind = "tcp", port = {unit} }}

[asset]
id = "HF-120"
maker = "Dunlow"
model = "Marrick 120"
serial = "77"
""",
        encoding="utf-8",
    )
    return bench

"""How long the papers of a run take, after imports: 10, 40 and 300 points. For orientation.

One table and a JSON line; seconds are the median of seven, of this process on its processors, which
other work on the machine does not lengthen.
"""

import json
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from statistics import median
from time import process_time

sys.path.insert(0, str(Path(__file__).parents[2]))
runs = import_module("tests.reports.conftest")


def seconds(work: Callable[[], object], times: int = 7) -> float:
    spent = []
    for _ in range(times):
        begun = process_time()
        work()
        spent.append(process_time() - begun)
    return median(spent)


def main() -> None:
    from ohmwright.reports.certificate import certificate_of
    from ohmwright.reports.csv_file import certificate_csv
    from ohmwright.reports.dcc import certificate_dcc
    from ohmwright.reports.html import certificate_html
    from ohmwright.reports.label import LabelSize, label
    from ohmwright.reports.pdf import certificate_pdf
    from ohmwright.reports.sheet import sheet_of

    warm = certificate_of(runs.a_run(points=5), runs.HEAD)
    certificate_pdf(sheet_of(warm), warm.ended_at)
    rows = []
    for points in (10, 40, 300):
        # a label of its own each time, so that typst's memory of earlier files does not help
        made = [
            certificate_of(runs.a_run(points=points, id=f"HF-{n:03}"), runs.HEAD) for n in range(7)
        ]
        sheet = sheet_of(made[0])
        todo = {
            "sheet (curves)": lambda _, m=made: sheet_of(m[0]),
            "PDF": lambda n, m=made: certificate_pdf(sheet_of(m[n]), m[n].ended_at),
            "HTML": lambda _, s=sheet: certificate_html(s),
            "CSV": lambda _, m=made: certificate_csv(m[0]),
            "DCC": lambda _, m=made: certificate_dcc(m[0], "DE"),
            "label": lambda n, m=made: label(m[n], LabelSize()),
        }
        for name, work in todo.items():
            numbers = iter(range(7))
            rows.append((points, name, seconds(lambda w=work, n=numbers: w(next(n)))))
    for points, name, spent in rows:
        print(f"{points:4} points  {name:15} {spent:7.3f} s")
    print(json.dumps([{"points": p, "paper": n, "seconds": round(s, 4)} for p, n, s in rows]))


if __name__ == "__main__":
    main()

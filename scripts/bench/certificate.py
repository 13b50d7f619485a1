"""How long the papers of a run take, after imports: 10, 40 and 300 points. For orientation.

One table and a JSON line; seconds are the median of seven, of this process on its processors, which
other work on the machine does not lengthen.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from statistics import median
from time import process_time

from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.html import certificate_html
from ohmwright.reports.label import LabelSize, label
from ohmwright.reports.pdf import certificate_pdf
from tests.reports import conftest as runs


def papers(made: Sequence[Certificate]) -> dict[str, Callable[[int], object]]:
    """How each paper is made, given the number of the certificate."""
    sheet = certificate_text(made[0])
    return {
        "sheet (curves)": lambda _: certificate_text(made[0]),
        "PDF": lambda n: certificate_pdf(certificate_text(made[n]), made[n].ended_at),
        "HTML": lambda _: certificate_html(sheet),
        "CSV": lambda _: certificate_csv(made[0]),
        "DCC": lambda _: certificate_dcc(made[0], "AQ"),
        "label": lambda n: label(made[n], LabelSize()),
    }


def seconds(work: Callable[[int], object], times: int) -> float:
    spent = []
    for number in range(times):
        begun = process_time()
        work(number)
        spent.append(process_time() - begun)
    return median(spent)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--points", type=int, nargs="+", default=[10, 40, 300])
    parser.add_argument("--times", type=int, default=7)
    options = parser.parse_args()
    times: int = options.times
    warm = certificate_of(runs.a_run(points=5), runs.HEAD)
    certificate_pdf(certificate_text(warm), warm.ended_at)
    rows = []
    for points in options.points:
        # a label of its own each time, so that typst's memory of earlier files does not help
        made = [
            certificate_of(runs.a_run(points=points, id=f"HF-{n:03}"), runs.HEAD)
            for n in range(times)
        ]
        rows += [(points, name, seconds(work, times)) for name, work in papers(made).items()]
    for points, name, spent in rows:
        print(f"{points:4} points  {name:15} {spent:7.3f} s")
    print(json.dumps([{"points": p, "paper": n, "seconds": round(s, 4)} for p, n, s in rows]))


if __name__ == "__main__":
    main()

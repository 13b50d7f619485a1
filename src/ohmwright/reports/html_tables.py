"""The tables of a certificate as HTML; on a narrow screen each row becomes a list."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from .certificate_text import CertificateText
from .result_tables import PointRow, ResultCells, StepGroup

_STAGES = {"as_found": "As found", "as_left": "As left"}
_OUTCOME = ("Value ± U", "Error %", "P %", "Verdict")
"""The columns of one result."""


def isolated(text: str) -> str:
    """Escaped text that keeps its writing direction to itself."""
    return f"<bdi>{escape(text)}</bdi>"


def measured_table(sheet: CertificateText) -> Iterable[str]:
    """The table of measured points."""
    stages = sheet.stages
    heads = "".join(f'<th class="stage" colspan="4">{_STAGES[stage]}</th>' for stage in stages)
    columns = "".join(f"<th>{name}</th>" for name in _OUTCOME) * len(stages)
    yield f'<h2>Measured</h2><table><thead><tr><th colspan="3"></th>{heads}'
    yield "<th></th></tr><tr><th>Point</th><th>Target</th><th>Limits</th>"
    yield f"{columns}<th>TUR</th></tr></thead>"
    yield from (_group(group, stages) for group in sheet.groups)
    yield "</table>"


def _group(group: StepGroup, stages: tuple[str, ...]) -> str:
    """The rows of one step under its name."""
    rows = "".join(_row(row, stages) for row in group.rows)
    span = 4 + 4 * len(stages)
    name = f"{isolated(group.step)}{faint(group.at)}{_small(group.requirement)}{_small(group.note)}"
    head = f'<tr><th colspan="{span}" scope="rowgroup">{name}</th></tr>'
    return f"<tbody>{head}{rows}</tbody>"


def _row(row: PointRow, stages: tuple[str, ...]) -> str:
    """The row of one measured point."""
    outcomes = {"as_found": row.found, "as_left": row.left}
    last = row.left if row.left.verdict else row.found
    accepted = f"<small>accepted {escape(row.accepted)}</small>" if row.accepted else ""
    limits = f"{row.limits} {row.unit}" if row.limits else f"in {row.unit}" if row.unit else ""
    outcome = (_result_cells(outcomes[stage], f"{_STAGES[stage]}: ") for stage in stages)
    return (
        f"<tr><td>{isolated(row.point)}{faint(row.at)}</td>{_cell('Target', row.target)}"
        f"{_cell('Limits', limits, accepted)}{''.join(outcome)}{_cell('TUR', last.ratio)}</tr>"
        f"{_more(row, len(stages))}"
    )


def _more(row: PointRow, stages: int) -> str:
    """A row with what was held against what was required; nothing where limits say it."""
    said = ". ".join(filter(None, (row.compared, row.requirement)))
    return (
        f'<tr class="more"><td colspan="{4 + 4 * stages}">{isolated(said)}</td></tr>'
        if said
        else ""
    )


def _cell(label: str, words: str, markup: str = "", name: str = "") -> str:
    """A cell; on a narrow screen `label` stands before it. `markup` follows the escaped words."""
    kind = f' class="{escape(name)}"' if name else ""
    return f'<td{kind} data-label="{label}">{escape(words)}{markup}</td>'


def _result_cells(outcome: ResultCells, stage: str) -> str:
    """The cells of one result: value with uncertainty, error, probability and verdict."""
    value = f"{outcome.value} ± {outcome.expanded}" if outcome.expanded else outcome.value
    # in brackets, since a bare letter or figure would be copied with the value
    mark = f"<sup>[{escape(outcome.mark)}]</sup>" if outcome.mark else ""
    read = f" <small>last read {escape(outcome.read)}</small>" if outcome.read else ""
    verdict = f"verdict {outcome.verdict.replace(' ', '-')}"
    cells = ((value, mark + read, ""), (outcome.error, "", ""), (outcome.probability, "", ""))
    verdict_cell = (outcome.verdict, outcome.alone, verdict)
    return "".join(
        _cell(f"{stage}{name}", *cell)
        for name, cell in zip(_OUTCOME, (*cells, verdict_cell), strict=True)
    )


def _small(words: str) -> str:
    """Words on a line of their own, in a smaller type; nothing where there are none."""
    return f"<small>{isolated(words)}</small>" if words else ""


def faint(words: str) -> str:
    """Words beside a name, in a fainter and smaller type; nothing where there are none."""
    return f' <span class="beside">{isolated(words)}</span>' if words else ""


def adjusted_table(sheet: CertificateText) -> Iterable[str]:
    """The table of adjusted points."""
    names = ("Load", "Target", "Limits", "Trim, counts", "Times moved")
    heads = "".join(
        f"<th>{name}</th>" for name in ("Point", *names, "Landed at ± U", *_OUTCOME[1:])
    )
    yield f"<h2>Adjusted{faint(sheet.adjusted_at)}</h2><table><thead>"
    yield f"<tr>{heads}<th>TUR</th></tr></thead><tbody>"
    for row in sheet.adjustments:
        cells = (row.load, row.target, f"{row.limits} {row.unit}", row.trim, row.moves)
        plain = "".join(map(_cell, names, cells))
        yield (
            f"<tr><td>{isolated(row.point)}{faint(row.at)}</td>{plain}"
            f"{_result_cells(row.left, '')}{_cell('TUR', row.left.ratio)}</tr>"
        )
    yield "</tbody></table>"

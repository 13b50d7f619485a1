"""What holds for some values of a run is not said of all, and one limit is not lost for another."""

from typing import Any

import pytest

from ohmwright.model.result import Result
from ohmwright.model.tolerance import Target
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.result_tables import step_groups
from ohmwright.reports.verdict_grounds import may_be_accredited

from .conftest import CERTIFICATE, a_run, result
from .test_csv_file import rows_of

NAMED = CERTIFICATE.model_copy(update={"serial": "G4-1"})


def changed(name: str, **fields: Any) -> Result:
    return result("as_left", "cut", name).model_copy(update=fields)


@pytest.mark.parametrize("fields", [{"expired": True}, {"serial": ""}])
def test_one_certificate_past_due_or_of_no_named_analyzer_forbids_an_accreditation(
    fields: dict[str, Any],
) -> None:
    named, other = (
        changed(name, traceability=basis)
        for name, basis in (("a", NAMED), ("b", NAMED.model_copy(update=fields)))
    )
    assert may_be_accredited([named])
    assert not may_be_accredited([named, other])
    assert not may_be_accredited([other])


def test_values_typed_from_another_instrument_do_not_say_what_the_others_rest_on() -> None:
    typed = [changed(name, traceability="another instrument") for name in "ab"]
    assert certificate_of(a_run([*typed, changed("c")])).marks.bases == (CERTIFICATE,)


def test_an_upper_limit_alone_is_in_the_spreadsheet() -> None:
    limit = Target(quantity="current_ma", value=150.0, lower=-1.0, upper=150.0)
    (row,) = rows_of(certificate_of(a_run([changed("a", target=limit)])))
    assert (row["lower"], row["upper"]) == ("", "150.0")


@pytest.mark.parametrize(
    ("low", "high", "accepted"),
    [
        (90.0, 110.0, ""),
        (92.0, 110.0, "92.0 to 110.0"),
        (90.0, 108.0, "90.0 to 108.0"),
    ],
)
def test_a_rule_that_narrows_one_side_is_told(low: float, high: float, accepted: str) -> None:
    held = result("as_left", "cut", "a").conformity
    assert held is not None
    narrowed = held.model_copy(update={"accept_from": low, "accept_to": high})
    (group,) = step_groups(certificate_of(a_run([changed("a", conformity=narrowed)])))
    assert [row.accepted for row in group.rows] == [accepted]

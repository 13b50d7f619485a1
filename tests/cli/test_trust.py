"""Who sealed what, and whom this computer was told to trust."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ohmwright.api.paths import operator_key_file, witness_folder
from ohmwright.cli.open_records import open_records
from ohmwright.model.shipped import shipped

from .forger import forge

DEMO_BENCH = shipped("benches", "demo.toml")


@pytest.fixture
def measured(ohmwright: Callable, procedure: Path, tmp_path: Path) -> Callable[..., Any]:
    """Measure a unit, out of tolerance; what came of it."""
    arguments = ("--bench", DEMO_BENCH, "--records", tmp_path / "r", "--unattended", "--json")
    return lambda: ohmwright("verify", procedure, *arguments)


@pytest.fixture
def another_computer(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[[], None]:
    def move() -> None:
        for name in ("DATA", "CONFIG", "STATE"):
            monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / "elsewhere" / name))

    return move


def test_a_run_sealed_here_is_good_and_the_key_was_told_once(
    ohmwright: Callable, measured: Callable, tmp_path: Path
) -> None:
    first, second = measured(), measured()
    own = ohmwright("record", "keys", "list", "--json").json["own"]["fingerprint"]
    assert f"Made your signing key {own}" in first.err
    assert own not in second.err
    good = ohmwright("record", "verify", "--records", tmp_path / "r")
    assert good.code == 0
    assert "2 runs: every hash, link and signature holds, each by a key trusted here" in good.out


@pytest.mark.parametrize("finished", [0, 1])
def test_what_holds_is_not_said_of_a_signature_that_is_not_there(
    ohmwright: Callable, measured: Callable, cut_short: Callable, tmp_path: Path, finished: int
) -> None:
    run = measured().json["run"]
    cut_short(tmp_path / "r", run, "point_done")
    for _ in range(finished):
        measured()
    shown = ohmwright("record", "verify", "--records", tmp_path / "r")
    assert shown.code == 0
    replaced, named, computed, _, closing = shown.out.splitlines()
    assert replaced.startswith("Warning: other records were here")  # `cut_short` puts others there
    assert "values computed once more from their readings" in computed
    assert named == f"Not finished, so signed by nobody: {run}"
    holding, _, computed_again = closing.rpartition("; ")
    assert holding == (
        "2 runs: every hash and link holds, and so does the signature of each finished run, by a "
        "key trusted here"
        if finished
        else "1 run: every hash and link holds; there is no signature yet"
    )
    assert computed_again.endswith("values computed once more.")


def test_a_whole_forgery_is_not_good(
    ohmwright: Callable, measured: Callable, tmp_path: Path, another_computer: Callable
) -> None:
    run = measured().json["run"]
    original = ohmwright("record", "keys", "list", "--json").json["own"]["fingerprint"]
    here = ("--records", tmp_path / "r")
    forge(
        tmp_path / "r" / "records.sqlite",
        # the bench file that is kept says 41; no line of a budget goes by it
        lambda body: body.replace(b'_percent":41.0', b'_percent":35.0').replace(
            b'"the bench file"', b'"the operator"'
        ),
        passing=False,
    )
    remembered = ohmwright("record", "verify", *here)
    assert (remembered.code, "Not whole" in remembered.out) == (6, True)
    another_computer()
    shown = ohmwright("certificate", "--html", tmp_path / "c.html", *here)
    assert shown.code == 0  # it is whole in itself
    assert "35 % relative humidity" in (tmp_path / "c.html").read_text(encoding="utf-8")
    looked = ohmwright("record", "verify", *here)
    assert looked.code == 4
    assert "not trusted here; it signed 1 run: " + run in looked.out
    assert "signature holds" not in looked.out
    document = ohmwright("record", "verify", *here, "--json").json
    assert document["state"] == "unknown"
    (signer,) = document["keys"]
    assert (signer["trusted"], signer["runs"]) == (False, [run])
    assert signer["fingerprint"] != original
    exported = tmp_path / "forged.jsonl"
    assert ohmwright("record", "export", exported, *here).code == 0
    taken = ohmwright("record", "import", exported, "--records", tmp_path / "new")
    assert f"with key {signer['fingerprint']}, which is NOT trusted here" in taken.out
    assert ohmwright("record", "verify", "--records", tmp_path / "new").code == 4


def test_a_forged_verdict_is_told_by_its_values_and_no_paper_certifies_it(
    ohmwright: Callable, measured: Callable, tmp_path: Path, another_computer: Callable
) -> None:
    measured()
    here = ("--records", tmp_path / "r")
    forge(tmp_path / "r" / "records.sqlite", lambda body: body.replace(b'"fail"', b'"pass"'))
    another_computer()  # whose witness knows nothing of the record
    looked = ohmwright("record", "verify", *here)
    assert looked.code == 6
    assert "cut, 100 ohm is recorded as pass; its figures on record make it fail" in looked.out
    paper = tmp_path / "c.pdf"
    for command in (("certificate", "last", "--pdf", paper), ("record", "approve", "last")):
        refused = ohmwright(*command, *here)
        assert refused.code == 6
        assert "certify a verdict against its own record" in refused.err
    assert not paper.exists()


def test_another_key_is_trusted_when_told_and_no_longer_when_told(
    ohmwright: Callable, measured: Callable, tmp_path: Path, another_computer: Callable
) -> None:
    measured()
    own = ohmwright("record", "keys", "list", "--json").json["own"]
    another_computer()
    here = ("--records", tmp_path / "r")
    trusted = ohmwright("record", "keys", "trust", own["fingerprint"], "--name", "Áda", *here)
    assert trusted.code == 0
    good = ohmwright("record", "verify", *here, "--json")
    assert (good.code, good.json["state"]) == (0, "good")
    assert good.json["keys"][0]["trusted_as"] == "Áda"
    listed = ohmwright("record", "keys", "list", *here)
    assert "as Áda" in listed.out
    assert ohmwright("record", "keys", "distrust", own["fingerprint"], *here).code == 0
    assert ohmwright("record", "verify", *here).code == 4
    assert ohmwright("record", "keys", "trust", own["key"]).code == 0
    assert ohmwright("record", "verify", *here).code == 0


def test_ones_own_key_can_be_distrusted(
    ohmwright: Callable, measured: Callable, tmp_path: Path
) -> None:
    measured()
    own = ohmwright("record", "keys", "list", "--json").json["own"]["key"]
    assert ohmwright("record", "keys", "distrust", own).code == 0
    assert ohmwright("record", "verify", "--records", tmp_path / "r").code == 4


def test_a_list_that_is_given_counts_alone(
    ohmwright: Callable, measured: Callable, tmp_path: Path
) -> None:
    measured()
    here, keys = ("--records", tmp_path / "r"), tmp_path / "keys"
    missing = ohmwright("record", "verify", *here, "--trusted", keys)
    assert (missing.code, "no such list" in missing.err) == (2, True)
    assert ohmwright("record", "keys", "trust", "ab" * 32, "--trusted", keys).code == 0
    assert ohmwright("record", "verify", *here, "--trusted", keys).code == 4
    own = ohmwright("record", "keys", "list", "--json").json["own"]["fingerprint"]
    assert ohmwright("record", "keys", "trust", own, *here, "--trusted", keys).code == 0
    assert ohmwright("record", "verify", *here, "--trusted", keys).code == 0
    keys.write_text(keys.read_text() + "trust Áda\n", encoding="utf-8")
    wrong = ohmwright("record", "verify", *here, "--trusted", keys)
    assert (wrong.code, f"{keys}:6:" in wrong.err) == (2, True)


def test_a_fingerprint_that_nobody_signed_with_is_refused(
    ohmwright: Callable, measured: Callable, tmp_path: Path
) -> None:
    measured()
    arguments = ("record", "keys", "trust", "0000-0000-0000-0000", "--records", tmp_path / "r")
    refused = ohmwright(*arguments)
    assert (refused.code, "whole public key" in refused.err) == (2, True)


def test_a_look_at_the_keys_makes_none_and_a_lost_one_is_told(
    ohmwright: Callable, measured: Callable
) -> None:
    none = ohmwright("record", "keys", "list")
    assert (none.code, "You have no key yet" in none.out) == (0, True)
    assert not operator_key_file().exists()
    measured()
    operator_key_file().unlink()
    lost = ohmwright("record", "keys", "list", "--json")
    assert (lost.code, "is gone" in lost.json["problem"]) == (6, True)
    refused = measured()
    assert (refused.code, "is gone" in refused.err, refused.out) == (6, True, "")
    assert not operator_key_file().exists()
    made = ohmwright("record", "keys", "new")
    assert (made.code, operator_key_file().exists()) == (0, True)
    assert measured().code == 1


def test_a_run_that_is_not_finished_is_signed_by_nobody(
    ohmwright: Callable, measured: Callable, tmp_path: Path, cut_short: Callable
) -> None:
    run = measured().json["run"]
    for path in operator_key_file().parent.parent.glob("state/ohmwright/witness/*/*"):
        path.unlink()
    cut_short(tmp_path / "r", run, "activation_closed")
    verified = ohmwright("record", "verify", "--records", tmp_path / "r")
    assert (verified.code, f"signed by nobody: {run}" in verified.out) == (0, True)


def test_an_import_tells_what_the_record_itself_contradicts(
    ohmwright: Callable, measured: Callable, tmp_path: Path, another_computer: Callable
) -> None:
    """Nor is the true run refused where the other one came first."""
    measured()
    true, file = tmp_path / "true", tmp_path / "r" / "records.sqlite"
    assert ohmwright("record", "export", true, "--records", tmp_path / "r").code == 0
    forge(file, lambda body: body.replace(b'_c":22.5', b'_c":19.5'), passing=False)
    another_computer()
    assert ohmwright("record", "export", tmp_path / "f", "--records", tmp_path / "r").code == 0
    taken = ohmwright("record", "import", tmp_path / "f", "--records", tmp_path / "other")
    assert "its own record contradicts it" in taken.err
    assert "temperature_c is 19.5 as told by the bench file, which says 22.5" in taken.err
    shown = ohmwright("record", "verify", "--records", tmp_path / "other")
    assert (shown.code, "temperature_c is 19.5" in shown.out) == (6, True)
    ends = witness_folder() / "ends"
    assert not ends.exists()
    assert ohmwright("record", "import", true, "--records", tmp_path / "third").code == 0
    (end,) = ends.read_text().split("\n")[1:-1]
    refused = ohmwright("record", "import", tmp_path / "f", "--records", tmp_path / "fourth")
    assert (refused.code, "take the line of this run out" in refused.err) == (2, True)
    assert end.split()[1] in refused.err


def test_of_a_store_without_a_run_nothing_is_said_to_hold(
    ohmwright: Callable, tmp_path: Path
) -> None:
    with open_records(str(tmp_path / "e")):
        pass
    shown = ohmwright("record", "verify", "--records", tmp_path / "e")
    assert (shown.code, "it holds no run" in shown.out) == (4, True)
    assert "0 runs: no run to verify; what is named is not known to be good." in shown.out
    assert ("every hash" in shown.out, "signature holds" in shown.out) == (False, False)

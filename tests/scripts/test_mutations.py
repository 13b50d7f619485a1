"""The changes that `scripts/mutate` tries: what it finds in a line, and that all of them fit."""

import ast
from functools import cache
from pathlib import Path

import pytest

from scripts.mutations.__main__ import ROOT, drawn, first_noticed
from scripts.mutations.groups import PUBLISHED, Group, groups
from scripts.mutations.kept import KeptTrials
from scripts.mutations.named import named_changes
from scripts.mutations.sites import Change, changes
from scripts.mutations.targets import NOT_DRAWN, drawable


@pytest.mark.parametrize(
    ("line", "changed"),
    [
        ("y = a + b", {"y = a - b"}),
        ("y = (a) * (b)", {"y = (a) / (b)"}),
        ("y = a**2", {"y = a*2", "y = a**3"}),
        ("y = a <= b", {"y = a > b"}),
        ("y = a == b and c", {"y = a != b and c", "y = a == b or c"}),
        ("y = min(a, b)", {"y = max(a, b)"}),
        ("y = np.sqrt(a)", {"y = np.fabs(a)"}),
        ("y = a.sum(axis=1)", {"y = a.max(axis=1)"}),
        ("y = -a", {"y = +a"}),
        ("y = 0.2", {"y = 0.3"}),
        ("y = a / 1e3", {"y = a * 1e3", "y = a / 1500.0"}),
        # counts, indices, words and what a name says are no arithmetic
        ("y = a[1:-1]", set()),
        ("y = range(3)", set()),
        ("y = 0.0", set()),
        ("y = f'{100.0 * a:g} %'", set()),
        ("'''1 + 1, at most 0.5'''", set()),
        ("def f(a: int | None = None) -> A | B: ...", set()),
    ],
)
def test_every_change_of_one_token(tmp_path: Path, line: str, changed: set[str]) -> None:
    (tmp_path / "m.py").write_text(f"\n{line}\n", "utf-8")
    assert {c.applied(f"\n{line}\n").strip() for c in changes(tmp_path, "m.py")} == changed


def test_operators_across_lines_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "m.py").write_text("y = (\n    a\n    + b\n)\n", "utf-8")
    assert changes(tmp_path, "m.py") == []


def test_a_change_that_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        Change("m.py", 0, 0, "a", "b").applied("c\n")


@cache
def source(path: str) -> str:
    return (ROOT / path).read_text("utf-8")


@cache
def parsed(path: str, line: int) -> str:
    return statements_at(source(path), line)


def statements_at(text: str, line: int) -> str:
    """What the statements of a module parse to that reach over a line, counted from 0."""
    whole = ast.parse(text).body
    return "".join(ast.dump(each) for each in whole if each.lineno <= line + 1 <= each.end_lineno)


def test_every_change_of_the_source_is_another_program() -> None:
    for found in drawable(ROOT).values():
        assert len(found) > 10
        for change in found:
            changed = statements_at(change.applied(source(change.path)), change.line)
            assert changed != parsed(change.path, change.line)


def test_named_changes_fit_the_source() -> None:
    for name, change in named_changes(ROOT).items():
        text = (ROOT / change.path).read_text("utf-8")
        changed = change.applied(text)
        assert ast.dump(ast.parse(changed)) != ast.dump(ast.parse(text)), name


def test_what_is_not_drawn_stands_in_the_source_once() -> None:
    for file, text, why in NOT_DRAWN:
        assert why
        assert (ROOT / "src/ohmwright" / file).read_text("utf-8").count(text) == 1, (file, text)


def test_the_draw_is_even_and_decided_by_the_seed() -> None:
    targets = {
        name: [Change(name, line, 0, "a", "b") for line in range(size)]
        for name, size in (("few", 2), ("many", 50))
    }
    chosen = drawn(targets, 10, 1)
    assert len(set(chosen)) == 10
    assert sum(change.path == "few" for change in chosen) == 2
    assert chosen == drawn(targets, 10, 1) != drawn(targets, 10, 2)


def test_every_group_of_tests_exists() -> None:
    for found in drawable(ROOT).values():
        for tests in groups(found[0], ROOT):
            assert tests
            assert [name for name in tests if not (ROOT / name).exists()] == []


def test_the_room_of_a_change_is_tried_before_the_others() -> None:
    change = Change("src/ohmwright/estimation/settled_value.py", 0, 0, "a", "b")
    first = [tests[0] for tests in groups(change, ROOT)]
    assert first[:2] == ["tests/published", "tests/estimation/test_settled_value.py"]
    assert first[3] == "tests/estimation"


def project(root: Path, text: str) -> Path:
    """A project of one source file and one test file."""
    for name in ("src", "tests"):
        (root / name).mkdir(parents=True, exist_ok=True)
        (root / name / "m.py").write_text(text, "utf-8")
    return root


def test_a_trial_is_kept_for_the_project_as_it_stood(tmp_path: Path) -> None:
    change, other = Change("m.py", 0, 0, "a", "b"), Change("m.py", 1, 0, "a", "b")
    root = project(tmp_path, "y = 1\n")
    KeptTrials(root).keep(change, ("tests/one", "tests/two"), True)
    KeptTrials(root).keep(other, ("tests/one",), False)
    again = KeptTrials(root)
    assert again.noticed(change, ("tests/one", "tests/two")) is True
    assert again.noticed(other, ("tests/one",)) is False
    assert again.noticed(change, ("tests/one",)) is None
    assert KeptTrials(project(tmp_path, "y = 2\n")).noticed(other, ("tests/one",)) is None


def test_long_groups_see_only_what_no_quick_one_noticed() -> None:
    found = drawable(ROOT)
    chosen = [found["budget"][0], found["tolerance"][0], found["estimator"][0]]
    tried: list[tuple[Change, str]] = []

    def notices(change: Change, tests: Group) -> bool:
        tried.append((change, tests[0]))
        seen_by = {chosen[0]: "tests/published", chosen[1]: "tests/model/test_tolerance.py"}
        return tests[0] == seen_by.get(change)

    noticed_by = first_noticed(chosen, notices)
    assert noticed_by[chosen[0]] == PUBLISHED
    assert noticed_by[chosen[1]] == ("tests/model/test_tolerance.py",)
    assert noticed_by[chosen[2]] is None
    assert tried[:3] == [(change, "tests/published") for change in chosen]
    assert [change for change, _ in tried[5:]] == [chosen[2]] * len(tried[5:])

"""Every example of README and guide is read by the program's own readers, and every command run."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest

from ohmwright.api.sweep_plan import Sweep
from ohmwright.cli.main import program
from ohmwright.cli.new_questions import AnalyzerAnswers
from ohmwright.engine.procedure import Procedure
from ohmwright.installation.catalogue import all_checks
from ohmwright.instruments.back_ends.installed import ANALYZERS
from ohmwright.instruments.required_messages import ANALYZER, GENERATOR, check_complete
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.bench_file import BenchFile
from ohmwright.model.errors import SourceError
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.paper import LaboratoryFile
from ohmwright.model.source import parse
from ohmwright.wire.command_set import CommandSet

SCRIPTS = Path(__file__).parents[3] / "scripts"
HEAD = 'title = "x"\nrevision = "1"\nmodel = "x"\n\n'
BENCH = """name = "x"
generator = { data = "x" }
asset = { id = "x", maker = "x", model = "x", serial = "x" }

[analyzer]
data = "x"
"""
ASK = 'format = 2\nname = "x"\n[ask]\nidentify = "W"\n'
PART = """format = 2
name = "x"
{}
[ask]
identify = "W"

[tell]
off = "K0"
"""
READERS: dict[str, Callable[[str], object]] = {
    "procedure": lambda text: parse(Path("example"), text, Procedure),
    "step": lambda text: parse(Path("example"), HEAD + text, Procedure),
    "bench": lambda text: parse(Path("example"), text, BenchFile),
    "link": lambda text: parse(Path("example"), BENCH + text, BenchFile),
    "analyzer": lambda text: parse(Path("example"), text, AnalyzerData, table="data"),
    "generator": lambda text: parse(Path("example"), text, GeneratorData, table="data"),
    "certificate": lambda text: parse(Path("example"), text, AnalyzerCertificate),
    "command-set-part": lambda text: parse(Path("example"), PART.format(text), CommandSet),
    "command-set-tell": lambda text: parse(Path("example"), ASK + text, CommandSet),
    "command-set": lambda text: parse(Path("example"), text, CommandSet),
    "answers": lambda text: parse(Path("example"), text, AnalyzerAnswers),
    "package": lambda text: tomllib.loads(text)["project"]["entry-points"][ANALYZERS],
    "back-end": lambda text: compile(text, "example", "exec"),
    "probe": str,
    "sweep": lambda text: parse(Path("example"), text, Sweep),
    "laboratory": lambda text: parse(Path("example"), text, LaboratoryFile),
    "template": str,  # typeset by the command that the page shows
}
NOT_RUN = {
    **dict.fromkeys(
        (
            "ohmwright probe --bench wicket/wicket-5-bench.toml",
            "ohmwright probe --bench wicket/wicket-5-bench.toml --only load",
            'ohmwright probe --bench wicket/wicket-5-bench.toml --only load --send "R ?"',
            "ohmwright doctor --bench wicket/wicket-5-bench.toml",
            "ohmwright doctor --bench wicket/wicket-5-bench.toml --conformance --with-rf",
            "ohmwright doctor --bench stilt-bench.toml --conformance --with-rf",
        ),
        "the bench is a real one",
    ),
    "ohmwright doctor --bench workshop.toml": "the bench is a real one",
    "ohmwright doctor --bench workshop.toml --with-rf": "the bench is a real one",
    "ohmwright calibrate cut.toml --bench bench.toml "
    "--records postgresql://bench2@records.example/ohmwright": "there is no such server",
    'ohmwright record keys trust 8b6c-daf6-f896-8cea --name "A. Fenn"': "nobody has this key",
    "ohmwright record keys distrust 8b6c-daf6-f896-8cea": "nobody has this key",
    'ohmwright record keys vouch 8b6c-daf6-f896-8cea --name "A. Fenn"': "nobody has this key",
    "ohmwright practise": "somebody presses keys",
    **dict.fromkeys(
        (
            'ohmwright record creep --model "Quillon 300" --at 2027-01-01 --plot creep.svg',
            "ohmwright record creep --asset HF-017 --probability 0.05",
            "ohmwright record interval --target 0.9 --longest-months 36 --visit-cost 200 "
            "--year-out-cost 5000",
        ),
        "there are no years of records of real units",
    ),
    "ohmwright record hand-over RUN half.jsonl": "RUN stands for a number",
    "ohmwright record take-back RUN": "RUN stands for a number",
    'ohmwright campaign work spring --bench shop-bench.toml --operator "A. Fenn" --records shop': (
        "somebody scans the units"
    ),
    "ohmwright rehearse power.toml --bench bench.toml --cluster tcp://bench2.example:8786": (
        "there is no such scheduler"
    ),
    "ohmwright calibrate cut.toml --bench bench.toml --resume RUN": "RUN stands for a number",
    "ohmwright sweep --bench bench.toml --resume RUN": "RUN stands for a number",
}
"""Commands in a fence marked `hardware`, whose words alone are read, and why."""
_RUN = re.compile(r"\d{8}T\d{6}Z-HF-(\d+)-[0-9a-f]+")
"""The number of a run: when it began, by the computer's clock, and a random part."""


def test_a_toml_example_is_read_by_the_program_s_own_reader(toml_example: Any) -> None:
    READERS[toml_example.words[1]](toml_example.text)


def test_what_is_shown_in_a_fence_is_of_a_known_kind(all_examples: list[Any]) -> None:
    for example in all_examples:
        # files of a project of one's own are run by tests/testing/test_template.py
        known = example.words[0] in ("console", "python")
        known = known or example.words[1] in {*READERS, "project"}
        assert known, f"{example} is neither run nor read"
    named = [example.words[2] for example in all_examples if len(example.words) == 3]
    assert len(named) == len(set(named)), "two examples are one file"


def test_a_command_set_of_the_guide_has_what_its_instrument_cannot_do_without(
    all_examples: list[Any],
) -> None:
    sets = {e.page: e.text for e in all_examples if e.words[1:2] == ("command-set",)}
    for page, needed in (("analyzers", ANALYZER), ("generators", GENERATOR)):
        commands = parse(Path("example"), sets[page], CommandSet)
        check_complete(commands, needed, page)


def test_what_the_guide_works_through_is_what_the_tests_drive(all_examples: list[Any]) -> None:
    """Each worked example is a file that drives an emulator, in tests/emulators or back_ends."""
    tests = Path(__file__).parents[2]
    for folder, kind in (("emulators/files", "command-set"), ("back_ends/fenwater", "back-end")):
        worked = {e.words[2]: e.text for e in all_examples if e.words[1:2] == (kind,)}
        driven = {path.name: path.read_text() for path in (tests / folder).iterdir()}
        assert worked.keys() & driven.keys()
        for name in worked.keys() & driven.keys():
            assert worked[name] == driven[name]


def test_a_reader_of_examples_refuses_a_broken_one() -> None:
    with pytest.raises(SourceError, match="lood_ohm"):
        READERS["step"]('[[step]]\nkind = "output"\nname = "a"\nlood_ohm = 3\n')


def test_every_command_of_a_page_prints_what_the_page_shows(
    guide_page: str, all_examples: list[Any], guide_files: Path, ohmwright: Callable
) -> None:
    with ExitStack() as served:
        for example in all_examples:
            if example.page == guide_page and example.words[0] == "console":
                _do(example, ohmwright, served)


def test_only_commands_that_need_what_a_test_has_not_are_left_unrun(
    all_examples: list[Any],
) -> None:
    marked = {
        command
        for example in all_examples
        if example.words[1:2] == ("hardware",)
        for command, _ in _commands(example.text)
    }
    assert marked == NOT_RUN.keys()


def test_a_command_in_a_sentence_is_one_that_the_program_has(
    guide_page: str, page_text: Callable[[str], str]
) -> None:
    for sentence in re.findall(r"`ohmwright\s+([^`]+)`", page_text(guide_page)):
        words = sentence.split()
        if words[0] != "COMMAND":
            options = {name for option in _named(words).params for name in option.opts}
            assert {word for word in words if word.startswith("--")} <= options | {"--help"}


def test_a_page_names_what_its_commands_need_installed(
    all_examples: list[Any], page_text: Callable[[str], str]
) -> None:
    extras = {
        "--parquet": "ohmwright[parquet]",
        "postgresql://": "ohmwright[postgresql]",
        "--cluster": "ohmwright[cluster]",
    }
    used = {
        (example.page, extra)
        for example in all_examples
        for words, extra in extras.items()
        if example.words[0] == "console" and words in example.text
    }
    assert {extra for _, extra in used} == {*extras.values()}
    assert [(page, extra) for page, extra in used if extra not in page_text(page)] == []


def test_the_checks_are_as_many_as_the_page_says(page_text: Callable[[str], str]) -> None:
    count = sum(map(len, all_checks().values()))
    assert f"{count} known values" in page_text("changes")


def test_help_and_guide_agree_on_doctor_with_rf(
    ohmwright: Callable, page_text: Callable[[str], str]
) -> None:
    said = [ohmwright("doctor", "--help").out, *map(page_text, ("safety", "benches", "analyzers"))]
    for text in said:
        words = " ".join(re.sub(r"[│>]", " ", text).split())
        assert "some seconds" in words
        assert re.search(r"OFF.{0,70}\blimit\b.{0,40}\bguard\b", words), words


def test_an_option_in_a_sentence_is_one_that_some_command_has(
    guide_page: str, page_text: Callable[[str], str]
) -> None:
    known = {name for each in _every_command() for option in each.params for name in option.opts}
    known |= {"--help", "--ohmwright-seed"}  # the latter is of the pytest plugin
    assert {*re.findall(r"(?<=`)--[a-z-]+", page_text(guide_page))} <= known


def test_no_line_of_an_example_is_wider_than_a_terminal(all_examples: list[Any]) -> None:
    for example in all_examples:
        indent = 4 if (example.page, example.words[0]) == ("running", "console") else 2
        for line in example.text.splitlines():
            readme = example.page == "README"  # is read in a browser or an editor
            assert len(line) <= (100 if readme else 80 - indent), f"{example}: {line}"


def test_shown_text_that_the_program_does_not_print_is_noticed() -> None:
    printed = "Step  As found\n  100 ohm  91.8 FAIL\nResult: FAIL   (2.0 min)\n"
    assert _fits(["…", "Result: FAIL   (…)"], printed)
    assert not _fits(["…", "Result: PASS   (…)"], printed)
    assert not _fits(["Step  As found", "Result: FAIL   (…)"], printed)
    run = "20260105T090000Z-HF-017-5c1e"
    assert _fits([run], "20271231T235959Z-HF-017-00ff\n")
    assert not _fits([run], "20271231T235959Z-HF-018-00ff\n")


def _do(example: Any, ohmwright: Callable, served: ExitStack) -> None:
    marks = example.words[1:]
    code = int(next((m.removeprefix("exit=") for m in marks if m.startswith("exit=")), "0"))
    for command, shown in _commands(example.text):
        program, *words = shlex.split(command)
        if program == "scripts/demo":
            script = SCRIPTS.joinpath("demo.py").read_text(encoding="utf-8")
            assert script.endswith('run_in_venv("-m", "ohmwright", "demo", *sys.argv[1:])\n')
            words = ["demo", *words]
        else:
            assert program == "ohmwright", f"{example}: {command}"
        if "hardware" in marks:
            _parse(words)
        elif words[0] == "simulate":
            served.enter_context(_served(words))
        else:
            outcome = ohmwright(*words)
            printed = f"{example}: {command}\n{outcome.out}{outcome.err}"
            assert outcome.code == code, printed
            assert shown == [] or _fits(shown, outcome.out), printed


def _commands(text: str) -> Iterator[tuple[str, list[str]]]:
    """Each command of a fence, and the lines shown under it."""
    whole = re.sub(r" \\\n +", " ", text)
    for part in re.split(r"^\$ ", whole, flags=re.MULTILINE)[1:]:
        command, *shown = part.rstrip().split("\n")
        yield command, shown


def _fits(shown: list[str], printed: str) -> bool:
    """Whether `printed` is what is shown: … alone is any lines, within a line any characters."""
    lines = [
        r"(?:[^\n]*\n)*?" if line == "…" else _line(line) + r" *\n"
        for line in _RUN.sub(r"RUN \1", "\n".join(shown)).split("\n")
    ]
    return re.fullmatch("".join(lines), _RUN.sub(r"RUN \1", printed)) is not None


def _line(shown: str) -> str:
    return r"[^\n]*".join(re.escape(part) for part in shown.split("…"))


def _parse(words: list[str]) -> None:
    """Read the words of a command as the command line does, and carry nothing out."""
    command: Any = program()
    context = command.make_context("ohmwright", list(words))
    while hasattr(command, "resolve_command"):
        left = [*context._protected_args, *context.args]
        name, command, left = command.resolve_command(context, left)
        context = command.make_context(name, left, parent=context)


def _named(words: list[str]) -> Any:
    """The command that the first words name."""
    command: Any = program()
    for word in words:
        if not hasattr(command, "commands"):
            break
        command = command.commands[word]
    return command


def _every_command(of: Any = None) -> Iterator[Any]:
    command = program() if of is None else of
    yield command
    for name in getattr(command, "commands", {}):
        yield from _every_command(command.commands[name])


@contextmanager
def _served(words: list[str]) -> Iterator[None]:
    """`ohmwright simulate` in another process, until the page is done."""
    bench = Path(words[words.index("--write-bench") + 1])
    call = [sys.executable, "-c", "from ohmwright.cli.main import main; main()", *words]
    server = subprocess.Popen(call, stdout=subprocess.DEVNULL, env={**os.environ})
    try:
        while server.poll() is None and not bench.exists():
            time.sleep(0.05)
        yield
    finally:
        server.terminate()
        assert server.wait(timeout=60) == 0

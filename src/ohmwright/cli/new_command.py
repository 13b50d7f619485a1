"""The command `new`: asks a few questions about an instrument and writes its files."""

from __future__ import annotations

import json
import re
from collections.abc import Container, Mapping
from importlib.resources import files
from pathlib import Path
from string import Template
from typing import Any, TypeVar

import anyio
from pydantic import ValidationError
from pydantic_core import ErrorDetails

from ohmwright.api.bench_data import read_bench
from ohmwright.model.complaint_words import words_of_error
from ohmwright.model.errors import SourceError, UsageError
from ohmwright.model.source import load, read_text
from ohmwright.model.toml_text import decoded

from .console import err, out
from .keyboard import read_line
from .new_asked import is_asked, is_host, usual_answer
from .new_frames import NONE, frame_lines, frame_of
from .new_questions import AnalyzerAnswers, Answers, GeneratorAnswers

A = TypeVar("A", AnalyzerAnswers, GeneratorAnswers)


def new_analyzer(folder: Path, answers: Path | None) -> int:
    """Write data file, command set and bench file of an analyzer into `folder`; return 0.

    `answers`: a TOML file with an answer for each question; else they are asked. Raises UsageError
    where a file exists already, and SourceError.
    """
    given = _answered(AnalyzerAnswers, answers)
    name = _file_name(given.model)
    words = _words(given, name) | {
        "analyzer_file": _toml(f"{name}.toml"),
        "bench_name": _toml(f"Bench with {given.model}"),
    }
    bench = folder / f"{name}-bench.toml"
    _write(
        {
            folder / f"{name}.toml": _filled("analyzer.toml", words),
            folder / f"{name}-commands.toml": _filled("analyzer-commands.toml", words),
            bench: _filled("bench.toml", words),
        }
    )
    read_bench(bench)
    _say_next(f"ohmwright probe --bench {bench}", f"ohmwright doctor --bench {bench}")
    return 0


def new_generator(folder: Path, answers: Path | None) -> int:
    """Write data file and command set of a generator into `folder`; return 0.

    `answers`, errors: see `new_analyzer`.
    """
    given = _answered(GeneratorAnswers, answers)
    name = _file_name(given.model)
    words, has_port = _words(given, name), given.reached != NONE
    written = {folder / f"{name}.toml": _filled("generator.toml", words)}
    if has_port:
        commands = folder / f"{name}-commands.toml"
        written[commands] = _filled("generator-commands.toml", words)
    _write(written)
    link = f"\nlink = {words['link']}" if has_port else ""
    _say_next(f'Put into your bench file:\n[generator]\ndata = "{name}.toml"{link}')
    return 0


def _answered(noun: type[A], answers: Path | None) -> A:
    if answers is None:
        return noun.model_validate(anyio.run(_asked, noun))
    given = load(answers, noun)
    _say_usual(given, decoded(answers, read_text(answers), SourceError))
    return given


def _say_usual(given: Answers, said: Container[str]) -> None:
    """Print the usual answers that were taken, since the file of answers has not `said` its own."""
    usual: dict[str, Any] = {}
    so_far: dict[str, Any] = {}
    for key, value in given:
        if key not in said and is_asked(key, so_far):
            usual[key] = value
        so_far[key] = value
    if usual:
        err().print("Not in the file of answers, so taken as usual. Correct what is otherwise:")
    for key, value in usual.items():
        err().print(f"  {key} = {_toml(value)}", soft_wrap=True)


async def _asked(noun: type[A]) -> dict[str, Any]:
    """Return the answers typed to each question; each is asked until it can be taken."""
    err().print(f"Enter takes what stands in brackets. {NONE} stands for none.")
    given: dict[str, Any] = {}
    for key, field in noun.model_fields.items():
        if is_asked(key, given):
            words = field.description or key
            given[key] = await _answer(noun, key, words, usual_answer(key, field, given), given)
    return given


async def _answer(
    noun: type[A], key: str, words: str, default: str, given: Mapping[str, Any]
) -> str:
    while True:
        err().print(f"{words}{f' [{default}]' if default else ''}: ", end="")
        said = (await _line()).strip() or default
        problem = _problem(noun, {**given, key: said}, key) if said else "an answer is needed"
        if problem is None:
            return said
        err().print(f"  {problem}", style="yellow", soft_wrap=True)


async def _line() -> str:
    try:
        return await read_line()
    except UsageError as nobody:
        raise UsageError(
            nobody.happened,
            "Nothing was written.",
            "Run it in a terminal, or give a file of answers with --answers.",
        ) from None


def _in_words(detail: ErrorDetails) -> str:
    """Return what is wrong with an answer, which is quoted where it is one part of a list."""
    is_part = len(detail["loc"]) > 1
    return f"'{detail['input']}': {words_of_error(detail)}" if is_part else words_of_error(detail)


def _problem(noun: type[A], given: Mapping[str, Any], key: str) -> str | None:
    """Return why the answer `given` to the question `key` is none; None where it is one."""
    try:
        noun.model_validate(given)
    except ValidationError as problem:
        found = [e for e in problem.errors() if e["loc"][:1] == (key,)]
        return _in_words(found[0]) if found else None
    return None


def _words(given: Answers, name: str) -> dict[str, str]:
    """Return what stands in the templates for each of their names."""
    values = dict(given)
    differs = given.reply_ends != given.message_ends
    words = {key: _toml(value) for key, value in values.items()}
    words |= {verb: _told(verb, values) for verb in values if f"{verb}_answer" in values}
    words |= {
        "name": _toml(name),
        "model_comment": given.model,
        "commands_file": _toml(f"{name}-commands.toml"),
        "link": _link(given.reached, given.baud),
        "answer_hash": _hash(given.answer != NONE),
        "echo_hash": _hash(given.echo == "yes"),
        "port_hash": _hash(given.reached != NONE),
        "frame": frame_lines(frame_of(values, given.message_ends)),
        "reply_frame_hash": _hash(differs),
        "reply_frame": frame_lines(frame_of(values, given.reply_ends)) if differs else "",
    }
    if isinstance(given, AnalyzerAnswers):
        words["load_hash"] = _hash(given.load != NONE)
        words["load_codes"] = _load_codes(given)
        words["max_limit_hash"] = _hash("{limit_" in given.on)
    return words


def _told(verb: str, values: Mapping[str, Any]) -> str:
    """Return the command `verb` as TOML, with what acknowledges it where it has an own answer."""
    answer = values[f"{verb}_answer"]
    if answer == NONE:
        return _toml(values[verb])
    return f"{{ send = {_toml(values[verb])}, answer = {_toml(answer)} }}"


def _load_codes(given: AnalyzerAnswers) -> str:
    """Return the table of the loads' codes, to be corrected by hand, where messages have them."""
    if ":code}" not in given.set_load:
        return ""
    codes = "".join(f'{ohm:g} = "{ohm:g}"\n' for ohm in given.loads_ohm)
    codes += '# 1e9 = "0"                         # and for none, where it can be open\n'
    return f"\n[codes.load_ohm]                    # CORRECT what stands for each load\n{codes}"


def _hash(there: bool) -> str:
    return "" if there else "# "


def _link(reached: str, baud: int) -> str:
    if is_host(reached):
        host, _, port = reached.rpartition(":")
        return f'{{ kind = "tcp", host = {_toml(host)}, port = {port} }}'
    if "::" in reached:
        return f'{{ kind = "visa", resource = {_toml(reached)} }}'
    return f'{{ kind = "serial", port = {_toml(reached)}, baud = {baud} }}'


def _toml(value: object) -> str:
    """Return text, a number or a list of numbers as TOML writes it."""
    if isinstance(value, tuple):
        return f"[{', '.join(map(_toml, value))}]"
    return f"{value:g}" if isinstance(value, float) else json.dumps(value)


def _filled(template: str, words: Mapping[str, str]) -> str:
    text = files("ohmwright.cli").joinpath("new_files", template).read_text(encoding="utf-8")
    return Template(text).substitute(words)


def _file_name(model: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", model.lower()).strip("-") or "instrument"


def _write(texts: Mapping[Path, str]) -> None:
    """Write each text to its file. Raises UsageError, before any is written, where one exists."""
    there = [str(path) for path in texts if path.exists()]
    if there:
        raise UsageError(
            f"{', '.join(there)}: {'exist' if len(there) > 1 else 'exists'} already.",
            "Nothing was written: no file is ever replaced.",
            "Name another folder, or take the file away.",
        )
    for path, text in texts.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("x", encoding="utf-8") as file:
                file.write(text)
        except OSError as problem:
            raise UsageError(
                f"{path}: cannot be written: {problem.strerror}.", do="Name another folder."
            ) from None
        out().print(str(path), soft_wrap=True)


def _say_next(*lines: str) -> None:
    out().print("\nNext:", style="bold")
    for line in lines:
        out().print(line, soft_wrap=True)

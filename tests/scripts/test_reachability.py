"""The list of what no program reaches: what it finds in a small program of known use."""

from pathlib import Path

from scripts.reachability import reached, read

FILES = {
    "__init__": "",
    "__main__": """
import other
from .used import Kept, called as alias
from ohmwright import named_alike

def main():
    alias(Kept().method)
    getattr(Kept, "by_text")
    def inner(): ...

main()
""",
    "used": """
def called(work): helper()
def helper(): ...
def uncalled(): only_by_uncalled()
def only_by_uncalled(): ...
def named_elsewhere(): ...
@register
def registered(): ...
class Kept:
    def __init__(self): ...
    def method(self): ...
    def by_text(self): ...
    def unused(self): ...
class Page(HTMLParser):
    def handle_data(self): ...
pages = Page()
""",
    "named_alike": """
named_elsewhere = 1
print(named_elsewhere)
""",
    "never_imported": "def orphan(): ...",
}


def test_what_no_program_reaches(tmp_path: Path) -> None:
    package = tmp_path / "ohmwright"
    package.mkdir()
    for name, text in FILES.items():
        (package / f"{name}.py").write_text(text, encoding="utf-8")
    items = list(read(tmp_path))
    unused = {item.name for item in items} - reached(items)
    assert unused == {
        "ohmwright.never_imported",
        "ohmwright.never_imported.orphan",
        *(f"ohmwright.used.{name}" for name in ("uncalled", "only_by_uncalled")),
        "ohmwright.used.named_elsewhere",
        "ohmwright.used.Kept.unused",
    }

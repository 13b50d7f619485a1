"""Groups of options that several commands share, declared as fields of a dataclass."""

from collections.abc import Callable, Iterator
from dataclasses import MISSING, fields, is_dataclass
from functools import wraps
from inspect import Parameter, Signature, signature
from typing import Any


def with_option_groups(command: Callable[..., None]) -> Callable[..., None]:
    """Return `command` with each dataclass parameter replaced by one parameter per field.

    Typer then makes an option of each field. Annotations must be objects, not text, so a module
    that uses this must not import `annotations` from `__future__`.
    """
    taken = signature(command).parameters.values()
    options = {each.name: list(_options(each)) for each in taken}
    groups: dict[str, Callable[..., Any]] = {
        each.name: each.annotation for each in taken if _is_group(each)
    }

    @wraps(command)
    def flat(**given: Any) -> None:
        for name, group in groups.items():
            given[name] = group(**{o.name: given.pop(o.name) for o in options[name]})
        command(**given)

    flattened = [option for of_one in options.values() for option in of_one]
    flat.__signature__ = Signature(flattened)  # type: ignore[attr-defined]
    flat.__annotations__ = {option.name: option.annotation for option in flattened}
    return flat


def _options(parameter: Parameter) -> Iterator[Parameter]:
    if not _is_group(parameter):
        yield parameter.replace(kind=Parameter.KEYWORD_ONLY)
        return
    for field in fields(parameter.annotation):
        default = Parameter.empty if field.default is MISSING else field.default
        yield Parameter(field.name, Parameter.KEYWORD_ONLY, default=default, annotation=field.type)


def _is_group(parameter: Parameter) -> bool:
    return is_dataclass(parameter.annotation)

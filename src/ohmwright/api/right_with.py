"""What opens a bench says so where `with` and `async with` are mixed up."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import (
    AbstractAsyncContextManager,
    AbstractContextManager,
    asynccontextmanager,
    contextmanager,
)
from functools import wraps
from types import TracebackType
from typing import Generic, NoReturn, ParamSpec, TypeVar

from ohmwright.model.errors import UsageError

P = ParamSpec("P")
"""What the function that opens is given."""
T = TypeVar("T")
"""What the block gets."""
_Raised = tuple[type[BaseException] | None, BaseException | None, TracebackType | None]


def for_async_with(function: Callable[P, AsyncIterator[T]]) -> Callable[P, AsyncWith[T]]:
    """Return `function` as what opens an `async with`; a plain `with` is refused."""
    opened = asynccontextmanager(function)

    @wraps(function)
    def opening(*args: P.args, **kwargs: P.kwargs) -> AsyncWith[T]:
        return AsyncWith(opened(*args, **kwargs))

    return opening


def for_plain_with(function: Callable[P, Iterator[T]]) -> Callable[P, PlainWith[T]]:
    """Return `function` as what opens a `with`; an `async with` is refused."""
    opened = contextmanager(function)

    @wraps(function)
    def opening(*args: P.args, **kwargs: P.kwargs) -> PlainWith[T]:
        return PlainWith(opened(*args, **kwargs))

    return opening


class AsyncWith(Generic[T]):
    """What opens at `async with`."""

    def __init__(self, manager: AbstractAsyncContextManager[T]) -> None:
        self._manager, self._begun = manager, False

    async def __aenter__(self) -> T:
        if self._begun:
            raise _begun_again("ohmwright.open_bench")
        self._begun = True
        return await self._manager.__aenter__()

    async def __aexit__(self, *raised: *_Raised) -> bool | None:
        return await self._manager.__aexit__(*raised)

    def __enter__(self) -> NoReturn:
        raise _mixed_up("ohmwright.open_bench", "async with", "ohmwright.bench for a plain 'with'")

    def __exit__(self, *_: object) -> None:
        """Do nothing: no block was begun. Without it Python's own error would come first."""

    def __getattr__(self, name: str) -> NoReturn:
        raise _no_block(name, "ohmwright.open_bench", "async with")


class PlainWith(Generic[T]):
    """What opens at `with`."""

    def __init__(self, manager: AbstractContextManager[T]) -> None:
        self._manager, self._begun = manager, False

    def __enter__(self) -> T:
        if self._begun:
            raise _begun_again("ohmwright.bench")
        self._begun = True
        return self._manager.__enter__()

    def __exit__(self, *raised: *_Raised) -> bool | None:
        return self._manager.__exit__(*raised)

    async def __aenter__(self) -> NoReturn:
        raise _mixed_up("ohmwright.bench", "with", "ohmwright.open_bench for 'async with'")

    async def __aexit__(self, *_: object) -> None:
        """Do nothing: no block was begun. Without it Python's own error would come first."""

    def __getattr__(self, name: str) -> NoReturn:
        raise _no_block(name, "ohmwright.bench", "with")


def _no_block(name: str, function: str, right: str) -> AttributeError:
    return AttributeError(
        f"no '{name}' before a block is begun, and nothing is opened yet: write "
        f"'{right} {function}(…) as bench:', and 'bench.{name}' within it"
    )


def _begun_again(function: str) -> UsageError:
    return UsageError(
        f"What {function} returns opens one block, and this one has had it.",
        "Nothing was opened.",
        f"Call {function} again for another block.",
    )


def _mixed_up(name: str, right: str, other: str) -> UsageError:
    return UsageError(
        f"{name} opens at '{right}'.", "Nothing was opened.", f"Write so, or {other}."
    )

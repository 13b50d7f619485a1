"""The body of a request: short JSON of the form that its route takes, or a refusal."""

from __future__ import annotations

from typing import TypeVar

from pydantic import ValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request

from .orders import Body

LARGEST_BODY = 4096
B = TypeVar("B", bound=Body)


async def body_of(request: Request, kind: type[B]) -> B:
    """Return the body as `kind`. Raises HTTPException 400, 413, 415, 422."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise HTTPException(415, "The body is not sent as application/json.")
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > LARGEST_BODY:
            raise HTTPException(413, f"The body is larger than {LARGEST_BODY} bytes.")
    try:
        return kind.model_validate_json(body)
    except ValidationError as problem:
        first = problem.errors(include_input=False, include_url=False)[0]
        if first["type"] == "json_invalid":
            raise HTTPException(400, "The body is no JSON.") from None
        where = ".".join(map(str, first["loc"])).replace("_", " ")
        said = first["msg"].removeprefix("Value error, ")
        raise HTTPException(422, f"{where}: {said}" if where else said) from None

"""Every route as its description says, and what comes in otherwise: never a failure of the server.

A body is made from the description's own schema, or is any JSON; ids are any text. What the server
answers must be one of the responses that the route's description lists.
"""

import json
from typing import Any
from urllib.parse import quote

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ohmwright.page.routes import description

from .conftest import Site

OPERATIONS = [
    (path, method.upper(), operation)
    for path, methods in description()["paths"].items()
    for method, operation in methods.items()
    if path != "/news"  # which has no end; see test_runs.py
]
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner),
    max_leaves=6,
)


def value(schema: dict[str, Any]) -> st.SearchStrategy[Any]:
    """A value by a schema, as far as the page's own schemas go."""
    if "anyOf" in schema:
        return st.one_of(*map(value, schema["anyOf"]))
    if "enum" in schema:
        return st.sampled_from(schema["enum"])
    match schema.get("type"):
        case "integer":
            return st.integers(schema.get("minimum", 0), schema.get("maximum", 99))
        case "number":
            return st.floats(schema.get("minimum", 0), schema.get("maximum", 99))
        case "boolean":
            return st.booleans()
        case "null":
            return st.none()
        case "string":
            return st.text(max_size=min(30, schema.get("maxLength", 30)))
    raise AssertionError(schema)


def body(schema: dict[str, Any]) -> st.SearchStrategy[Any]:
    """An object by its schema; keys that are not required may be missing."""
    required = set(schema.get("required", ()))
    keys = {name: value(each) for name, each in schema.get("properties", {}).items()}
    return st.fixed_dictionaries(
        {name: each for name, each in keys.items() if name in required},
        optional={name: each for name, each in keys.items() if name not in required},
    )


@st.composite
def requests(draw: st.DrawFn) -> tuple[str, str, bytes, frozenset[int]]:
    """Method, path, body and the status codes that the route's description lists."""
    path, method, operation = draw(st.sampled_from(OPERATIONS))
    for parameter in operation["parameters"]:
        if parameter["in"] == "path":
            given_value = draw(
                st.integers(0, 4)
                if parameter["schema"]["type"] == "integer"
                else st.text(min_size=1, max_size=30)
            )
            path = path.replace(f"{{{parameter['name']}}}", quote(str(given_value), safe=""))
        elif parameter["in"] == "query" and draw(st.booleans()):
            path += f"?{parameter['name']}={quote(draw(st.text(max_size=30)))}"
    content: Any = None
    if "requestBody" in operation:
        schema = operation["requestBody"]["content"]["application/json"]["schema"]
        content = draw(body(schema) | JSON)
    return method, path, json.dumps(content).encode(), frozenset(map(int, operation["responses"]))


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(request=requests())
def test_a_route_answers_as_it_is_described(
    shared: Site, request: tuple[str, str, bytes, frozenset[int]]
) -> None:
    method, path, content, expected = request
    client = admitted(shared)
    answer = client.ask(method, path, content if method == "POST" else None)
    if path.count("/") > 4:  # an id with a slash in it names another route, or none
        expected |= {404, 405}
    assert answer.status in expected, (method, path, content, answer)
    assert answer.status != 200 or answer.headers["content-security-policy"]


_clients: dict[int, Any] = {}


def admitted(site: Site) -> Any:
    """One client of the site for all requests."""
    if id(site) not in _clients:
        _clients[id(site)] = site.client()
    return _clients[id(site)]

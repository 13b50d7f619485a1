"""What the page refuses, and that it does so before anything is done."""

import json
from pathlib import Path

import pytest

from ohmwright.page import site as page_site
from ohmwright.page.gate import HEADERS, Gate
from ohmwright.page.request_body import LARGEST_BODY
from ohmwright.page.routes import CALLS, Call
from ohmwright.wire.clock import VirtualClock

from .conftest import Client, Site, page_settings, serving

BEGIN = {"procedure": 0, "unattended": True}
NAN = b'{"procedure":0,"temperature_c":NaN}'


@pytest.mark.parametrize(
    ("what", "status", "method", "path", "body", "headers"),
    [
        ("no session", 401, "POST", "/benches/1/begin", BEGIN, {"Cookie": None}),
        ("another session", 401, "GET", "/records", None, {"Cookie": "ohmwright-1=x"}),
        ("no session, stop", 401, "POST", "/benches/1/stop", None, {"Cookie": None}),
        ("no session, news", 401, "GET", "/news", None, {"Cookie": None}),
        ("another origin", 403, "POST", "/benches/1/begin", BEGIN, {"Origin": "http://else"}),
        ("null origin", 403, "POST", "/benches/1/begin", BEGIN, {"Origin": "null"}),
        ("no origin", 403, "POST", "/benches/1/begin", BEGIN, {"Origin": None}),
        ("no origin, stop", 403, "POST", "/benches/1/stop", None, {"Origin": None}),
        ("another site", 403, "GET", "/records", None, {"Sec_Fetch_Site": "cross-site"}),
        ("another port's page", 403, "GET", "/records", None, {"Sec_Fetch_Site": "same-site"}),
        ("another host", 421, "GET", "/records", None, {"Host": "bench.example"}),
        ("another port", 421, "GET", "/", None, {"Host": "127.0.0.1:1"}),
        ("no host", 400, "GET", "/", None, {"Host": None}),
        ("no screen", 409, "POST", "/benches/1/begin", BEGIN, {}),
        ("not JSON", 400, "POST", "/benches/1/begin", b"procedure=0", {}),
        ("as a form", 415, "POST", "/benches/1/begin", BEGIN, {"Content_Type": "text/plain"}),
        ("a name of two lines", 422, "POST", "/benches/1/begin", {**BEGIN, "operator": "a\nb"}, {}),
        ("too large", 413, "POST", "/benches/1/say", b" " * (LARGEST_BODY + 1), {}),
        ("a key too many", 422, "POST", "/benches/1/begin", {**BEGIN, "file": "/x"}, {}),
        ("a text for a number", 422, "POST", "/benches/1/begin", {"procedure": "0"}, {}),
        (
            "not a number",
            422,
            "POST",
            "/benches/1/begin",
            NAN,
            {},
        ),
        ("no such bench", 404, "GET", "/benches/9/procedures", None, {}),
        ("no such procedure", 404, "GET", "/benches/1/procedures/99", None, {}),
        ("no such run", 404, "GET", "/records/none", None, {}),
        ("no such page", 404, "GET", "/anything", None, {}),
        ("a file outside", 404, "GET", "/static/../site.py", None, {}),
        ("a file outside, coded", 404, "GET", "/static/%2e%2e/site.py", None, {}),
        ("another method", 405, "GET", "/benches/1/begin", None, {}),
        ("a used token", 401, "POST", "/enter", None, {}),
    ],
)
def test_refused(
    shared: Site, what: str, status: int, method: str, path: str, body: object, headers: dict
) -> None:
    client = shared.client()
    if what == "a used token":
        body = {"token": shared.addresses[-2].partition("#token=")[2]}
    sent = body if isinstance(body, bytes) or body is None else json.dumps(body).encode()
    answer = client.ask(method, path, sent, **headers)
    assert answer.status == status, (what, answer)
    assert what == "no host" or answer.headers.items() >= HEADERS.items()
    assert shared.hardware == []


def test_what_is_wrong_in_a_field_is_said_in_words(shared: Site) -> None:
    client = shared.client()
    refused = client.post("/benches/1/begin", {**BEGIN, "work_order": "W\u202e1"})
    assert refused.json["happened"] == "work order: It is not printable text in one line."


def test_what_is_refused_without_a_session_is_done_with_one(shared: Site) -> None:
    client = shared.client()
    assert client.get("/records").json == {"runs": [], "found": 0, "any": False}
    assert len(client.get("/benches/1/procedures").json["procedures"]) == 2
    assert client.get("/openapi.json").json["openapi"] == "3.1.0"


@pytest.mark.parametrize("call", [call for call in CALLS if call.body is not None])
def test_a_command_is_taken_from_json_alone(shared: Site, call: Call) -> None:
    path = call.open_path.replace("{bench}", "1")
    for kind in ("application/x-www-form-urlencoded", "multipart/form-data", "text/plain", None):
        assert shared.client().ask("POST", path, b"a=b", Content_Type=kind).status == 415, kind


def test_a_stop_is_heard_whatever_comes_with_it(shared: Site) -> None:
    bodies = (b"", b"a=b", b'{"why":"smoke"}', b"\xff\x00", b" " * 20 * LARGEST_BODY)
    for body in bodies:
        for kind in ("application/json", "application/x-www-form-urlencoded", None):
            client = shared.client()
            answer = client.ask("POST", "/benches/1/stop", body, Content_Type=kind)
            assert (answer.status, answer.json) == (200, {"stopping": False}), (body, kind)


def test_a_cookie_is_for_the_server_alone(shared: Site) -> None:
    token = shared.fresh_token()
    answer = Client(shared.host).post("/enter", {"token": token})
    words = answer.headers["set-cookie"].casefold()
    assert "httponly" in words
    assert "samesite=strict" in words
    assert token not in answer.text
    assert shared.fresh_token() not in answer.text


def test_too_many_requests_are_refused_and_a_stop_is_heard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = VirtualClock()
    monkeypatch.setattr(
        page_site, "Gate", lambda app, **given: Gate(app, **{**given, "clock": clock})
    )
    with serving(page_settings(tmp_path), monkeypatch) as site:
        client = site.client()

        def answers() -> list[int]:
            return [client.get("/records").status for _ in range(220)]

        assert answers() == [200] * 200 + [429] * 20
        assert client.post("/benches/1/stop").json == {"stopping": False}
        clock.advance(1)
        assert answers() == [200] * 50 + [429] * 170
        tries = [Client(site.host).post("/enter", {"token": "x"}).status for _ in range(20)]
        assert tries[0] == 401
        assert tries[-1] == 429

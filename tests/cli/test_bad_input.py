"""Bad input of every kind: one clear message, its exit code, no traceback, RF never on."""

import os
import re
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped

DEMO_BENCH = shipped("benches", "demo.toml")


@pytest.fixture
def verify(ohmwright: Callable, tmp_path: Path) -> Callable:
    def call(procedure: Path, bench: Path = DEMO_BENCH) -> object:
        records = tmp_path / "records"
        outcome = ohmwright("verify", procedure, "--bench", bench, "--records", records)
        assert outcome.code != 0
        assert "Traceback" not in outcome.err
        assert not any(b"activation_closed" in p.read_bytes() for p in records.glob("*"))
        return outcome

    return call


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("loads_ohm", "load_ohms", r":\d+:1: step 'cut', load_ohms: unknown key .* 'loads_ohm'"),
        ("percent = 5", "absolute_ma = 5", "another unit than the target"),
        ("[100, 500]", "[100, 520]", r":14:1: step 'cut': .*no 520 ohm; the nearest is 500 ohm"),
        ("setting_w = 310", "setting_w = 480", r":13:1: .*over the load bank's rating of 420 W"),
        ("max_on_s = 18", "max_on_s = 90", r"90 s of activation is longer than the load bank's"),
        ('mode = "cut"', 'mode = "cut\u00a0"', r"has no mode 'cut‹U\+00A0›'; it has cut, blend"),
        ('mode = "cut"', 'mode = "cud"', "has no mode 'cud'; it has cut, blend, coag, bipolar"),
        ('"Quillon 300"', '"Quillon 400"', ":3:1: the procedure is for Quillon 400"),
        ("rest_s = 5", "rest_s = ", r":6:10: this is not valid TOML"),
    ],
)
def test_a_wrong_procedure(
    verify: Callable, procedure: Path, old: str, new: str, says: str
) -> None:
    procedure.write_text(procedure.read_text().replace(old, new, 1))
    outcome = verify(procedure)
    assert outcome.code == 2
    assert re.search(says, outcome.err)
    assert str(procedure) in outcome.err


@pytest.mark.parametrize("said", ["7" * 201, "WO-7\nWO-8"])
@pytest.mark.parametrize("command", [("calibrate", "p.toml"), ("campaign", "work", "may")])
def test_a_work_order_that_no_line_of_a_paper_holds(
    ohmwright: Callable, command: tuple[str, ...], said: str
) -> None:
    outcome = ohmwright(*command, "--bench", DEMO_BENCH, "--work-order", said)
    assert (outcome.code, "one line of at most 200 characters" in outcome.err) == (2, True)


def test_a_missing_file(verify: Callable, procedure: Path, tmp_path: Path) -> None:
    assert "no such file" in verify(tmp_path / "none.toml").err
    outcome = verify(procedure, tmp_path / "none.toml")
    assert (outcome.code, "no such file" in outcome.err) == (2, True)


@pytest.mark.parametrize("name", ["", "/"])
def test_a_path_that_no_file_has(verify: Callable, name: str) -> None:
    outcome = verify(name)
    assert (outcome.code, "is no ordinary file" in outcome.err) == (2, True)


@pytest.mark.parametrize("place", [300 * "x", f"{300 * 'x'}.sqlite", f"{300 * 'x'}/records"])
def test_records_where_it_cannot_be_seen_whether_any_are(
    ohmwright: Callable, procedure: Path, tmp_path: Path, place: str
) -> None:
    """A name that is too long stands for a folder that may not be entered, too."""
    for command in (("verify", procedure, "--bench", DEMO_BENCH), ("record", "list")):
        outcome = ohmwright(*command, "--records", tmp_path / place)
        assert (outcome.code, "cannot be seen: File name too long" in outcome.err) == (6, True)


def test_an_empty_place_of_records_is_not_the_folder_one_works_in(
    ohmwright: Callable, procedure: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    outcome = ohmwright("verify", procedure, "--bench", DEMO_BENCH, "--records", "")
    assert (outcome.code, "place of the records is empty" in outcome.err) == (2, True)
    assert not (tmp_path / "records.sqlite").exists()


def test_a_name_that_is_no_text_is_refused_before_anything_is_opened(
    verify: Callable, procedure: Path
) -> None:
    outcome = verify(procedure.rename(procedure.with_name("quick\udcff.toml")))
    assert outcome.code == 2
    assert r"quick\xff.toml: this cannot be read as text" in outcome.err


def test_an_operator_of_another_encoding_is_refused(
    verify: Callable, procedure: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("OHMWRIGHT_OPERATOR", "Jos\udce9")
    outcome = verify(procedure)
    assert (outcome.code, outcome.err.startswith("OHMWRIGHT_OPERATOR: this cannot")) == (2, True)


def bench_at(tmp_path: Path, link: str) -> Path:
    path = tmp_path / "bench.toml"
    text = DEMO_BENCH.read_text(encoding="utf-8").replace('{ kind = "simulated" }', link)
    text = text.replace('certificate = "gantry-400"', "")  # out of date on a clock that is real
    path.write_text(text, encoding="utf-8")
    return path


def test_a_missing_port(verify: Callable, procedure: Path, tmp_path: Path) -> None:
    outcome = verify(procedure, bench_at(tmp_path, '{ kind = "serial", port = "/dev/none9" }'))
    assert outcome.code == 3
    assert "there is no such port" in outcome.err


def test_nobody_at_an_address(verify: Callable, procedure: Path, tmp_path: Path) -> None:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        port = held.getsockname()[1]
        outcome = verify(procedure, bench_at(tmp_path, f'{{ kind = "tcp", port = {port} }}'))
    assert outcome.code == 3
    assert f"127.0.0.1:{port}" in outcome.err


def test_a_busy_port(verify: Callable, procedure: Path, tmp_path: Path) -> None:
    from ohmwright.wire.portlock import device_lock

    master, device = os.openpty()
    name = os.ttyname(device)
    lock = device_lock(name)
    try:
        outcome = verify(procedure, bench_at(tmp_path, f'{{ kind = "serial", port = "{name}" }}'))
    finally:
        lock.release()
        os.close(master)
        os.close(device)
    assert outcome.code == 3
    assert f"in use by process {os.getpid()}" in outcome.err


def bench_of_two(tmp_path: Path, analyzer: int, generator: int) -> Path:
    """The analyzer through VISA, the generator through TCP, at these ports."""
    path = bench_at(tmp_path, f'{{ kind = "tcp", port = {generator} }}')
    visa = f'{{ kind = "visa", resource = "TCPIP::127.0.0.1::{analyzer}::SOCKET" }}'
    tcp, text = f'{{ kind = "tcp", port = {generator} }}', path.read_text(encoding="utf-8")
    path.write_text(text.replace(tcp, visa, 1), encoding="utf-8")
    return path


@contextmanager
def peer(answer: Callable[[bytes], bytes]) -> Iterator[int]:
    """Something on TCP that answers each line with what `answer` says."""

    def serve(connection: socket.socket) -> None:
        with connection, connection.makefile("rb") as lines:
            try:
                for line in lines:
                    connection.sendall(answer(line.strip()))
            except OSError:
                return

    def accept() -> None:
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            threading.Thread(target=serve, args=(connection,), daemon=True).start()

    with socket.create_server(("127.0.0.1", 0)) as listener:
        threading.Thread(target=accept, daemon=True).start()
        yield listener.getsockname()[1]
        listener.shutdown(socket.SHUT_RDWR)


def instrument(**replies: bytes) -> Callable[[bytes], bytes]:
    """An analyzer that is in step, with some replies put wrong; records what it was told."""

    def answer(line: bytes) -> bytes:
        told.append(line)
        nonce = re.fullmatch(rb"\*CLS;\*ESE (\d+);\*ESE\?", line)
        if nonce is not None:
            return nonce[1] + b"\n"
        usual = {
            b"*IDN?": b"Maker,Model,1,0\n",
            b"SYSTem:ERRor?": b'0,"No error"\n',
            b"OUTPut:STATe?": b"0\n",
            b"OUTPut:STATe:REMaining?": b"0\n",
            b"FETCh:CURRent?": b"+0.0E+00,A,1\n",
            b"INPut:IMPedance?": b"100\n",
            b"INPut:PATH?": b"OUTP\n",
            b"SOURce:FUNCtion?": b'"cut"\n',
            b"SOURce:POWer?": b"300\n",
        }
        wrong = {key.replace("_", ":").encode() + b"?": reply for key, reply in replies.items()}
        return {**usual, **wrong}.get(line, b"")

    told: list[bytes] = []
    answer.told = told
    return answer


@pytest.mark.parametrize(
    ("replies", "says"),
    [
        ({"FETCh_CURRent": b"overflow,A,1\n"}, "it should be '{current_a},A,{number:d}'"),
        ({"FETCh_CURRent": b"+1.0E-01,V,1\n"}, "it should be '{current_a},A,{number:d}'"),
        ({"FETCh_CURRent": b"+1.0E-01\n"}, "it should be '{current_a},A,{number:d}'"),
        ({"INPut_IMPedance": b"nan\n"}, "it should be '{load_ohm}'"),
        ({"INPut_IMPedance": b"200\n"}, "'INPut:IMPedance 100' and reads back '200'"),
        ({"SYSTem_ERRor": b'-241,"Hardware missing"\n'}, "-241, Hardware missing"),
    ],
)
def test_a_reply_that_makes_no_sense(
    verify: Callable, procedure: Path, tmp_path: Path, replies: dict[str, bytes], says: str
) -> None:
    answer = instrument(**replies)
    with peer(answer) as analyzer, peer(answer) as generator:
        outcome = verify(procedure, bench_of_two(tmp_path, analyzer, generator))
    assert outcome.code == 3
    assert says in outcome.err
    assert not any(b" ON" in line for line in answer.told)


def test_a_wrong_baud_rate_shows_the_bytes_and_a_hint(
    verify: Callable, procedure: Path, tmp_path: Path
) -> None:
    strange = b"\xfe\x80\xf8\x00\xe6"
    with peer(lambda _: strange) as analyzer, peer(lambda _: strange) as generator:
        outcome = verify(procedure, bench_of_two(tmp_path, analyzer, generator))
    assert outcome.code == 3
    assert r"\xfe\x80\xf8" in outcome.err
    assert "baud rate" in outcome.err


def test_another_instrument_than_the_bench_file_names(
    ohmwright: Callable, procedure: Path, tmp_path: Path
) -> None:
    bench = tmp_path / "bench.toml"
    text = shipped("benches", "demo.toml").read_text(encoding="utf-8")
    bench.write_text(text.replace("[generator]", '[generator]\nidentity = "S000099"'))
    outcome = ohmwright("verify", procedure, "--bench", bench, "--records", tmp_path / "r")
    assert outcome.code == 3
    assert "the bench file wants 'S000099' in it" in outcome.err


def test_a_mistyped_topic_of_the_guide_is_told_the_nearest(ohmwright: Callable) -> None:
    assert "the nearest is 'procedures'." in ohmwright("guide", "procedure").err
    assert "nearest" not in ohmwright("guide", "xyz").err

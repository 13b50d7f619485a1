"""The command `simulate`: serve a simulated bench to other programs until interrupted."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import anyio

from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.api.open_bench import simulated_bench
from ohmwright.model.bench_file import SerialPort, Simulation
from ohmwright.model.errors import UsageError
from ohmwright.model.shipped import shipped
from ohmwright.simulator.bench_ports import PortAddresses
from ohmwright.simulator.faults import LineFault
from ohmwright.simulator.serve_tcp import serve_tcp
from ohmwright.wire.clock import RealClock, VirtualClock
from ohmwright.wire.loopback import LOOPBACK, is_loopback

from .console import out, print_notice
from .signals import cancel_on_signal


@dataclass(frozen=True)
class SimulateRequest:
    """A simulation as asked for on the command line; without `bench`, the shipped demo bench."""

    bench: Path | None
    pty: bool
    tcp: bool
    host: str
    stepped: bool
    write_bench: Path | None
    seed: int | None
    faults: tuple[LineFault, ...] = ()
    control_host: str = LOOPBACK
    overwrite: bool = False


def run_simulate(request: SimulateRequest) -> int:
    """Serve on pseudo-terminals or TCP; return 0 when interrupted. Raises UsageError."""
    if request.pty == request.tcp:
        raise UsageError("Say where to serve.", do="Give either --pty or --tcp.")
    _refuse_existing(request)
    data = _data(request)
    hardware = simulated_bench(data, VirtualClock() if request.stepped else RealClock())

    def announce(addresses: PortAddresses) -> None:
        for name, where in addresses.named():
            if name != "control" or request.stepped:
                out().print(f"{name:9} {where}", soft_wrap=True)
        if request.write_bench is not None:
            _write_bench(request.write_bench, data, addresses, stepped=request.stepped)
            out().print(f"bench     {request.write_bench}", soft_wrap=True)
            _warn_of_no_certificate(request, data)
        out().print("Serving; Ctrl-C ends it.")

    async def serve() -> None:
        with cancel_on_signal():
            if request.pty:
                from ohmwright.simulator.serve_pty import serve_ptys  # POSIX only

                await serve_ptys(hardware, announce)
            else:
                _warn_of_remote_access(request)
                await serve_tcp(
                    hardware, announce, host=request.host, control_host=request.control_host
                )

    anyio.run(serve)
    return 0


def _refuse_existing(request: SimulateRequest) -> None:
    """Raise UsageError for a bench file that exists; others wait for it, so none is tried."""
    path = request.write_bench
    if path is not None and path.exists() and not request.overwrite:
        raise UsageError(
            f"{path} exists.",
            "Nothing was written or served.",
            "Give another name, or --overwrite.",
        )


def _warn_of_remote_access(request: SimulateRequest) -> None:
    """Print a notice where other computers can connect: the lines have no authentication."""
    if not is_loopback(request.host):
        print_notice(f"Other computers can work the simulated instruments, on {request.host}.")
    if not is_loopback(request.control_host):
        print_notice(
            f"Other computers can move its time and read its truth, on {request.control_host}."
        )
    elif request.stepped and not is_loopback(request.host):
        print_notice(
            "Its time can be stepped from this computer alone, unless --control-host is given."
        )


def _warn_of_no_certificate(request: SimulateRequest, data: BenchData) -> None:
    """Print a notice where the bench that was written does not name the analyzer's certificate."""
    if data.certificate is not None and not request.stepped:
        print_notice(
            f"{request.write_bench} names no analyzer certificate: {data.certificate.number} goes "
            "by the simulated clock's date, which only --stepped keeps."
        )


def _data(request: SimulateRequest) -> BenchData:
    data = read_bench(shipped("benches", "demo.toml") if request.bench is None else request.bench)
    simulation = data.file.simulation or Simulation()
    if request.seed is not None:
        simulation = simulation.model_copy(update={"seed": request.seed})
    file = data.file.model_copy(update={"simulation": simulation})
    return replace(data, file=file, faults=request.faults)


def _write_bench(path: Path, data: BenchData, addresses: PortAddresses, *, stepped: bool) -> None:
    """Write a bench file that reaches the simulation; renamed into place, so always complete."""
    asset = data.file.asset
    simulation = data.file.simulation or Simulation()
    lines = [
        f"name = {_quoted(data.file.name + ', served')}",
        *([f"stepped_time = {_address(addresses.control)}"] if stepped else []),
        "[analyzer]",
        f"data = {_quoted(str(data.analyzer_path))}",
        f"link = {_address(addresses.analyzer)}",
        *_certificate(data, stepped=stepped),
        "[generator]",
        f"data = {_quoted(str(data.generator_path))}",
        *([] if data.file.generator.link is None else [f"link = {_address(addresses.generator)}"]),
        *([] if asset is None else ["[asset]"]),
        *([] if asset is None else [f"{k} = {_quoted(v)}" for k, v in asset.model_dump().items()]),
        "[simulation]",
        f"seed = {simulation.seed}",
        f"age_months = {simulation.age_months}",
    ]
    try:
        with tempfile.NamedTemporaryFile("w", dir=path.parent, delete=False) as file:
            file.write("\n".join(lines) + "\n")
        Path(file.name).replace(path)
    except OSError as problem:
        raise UsageError(f"{path}: cannot be written: {problem.strerror}.") from None


def _certificate(data: BenchData, *, stepped: bool) -> list[str]:
    """Return the line of the certificate; only for simulated time, at which it is in date."""
    if data.certificate_path is None or not stepped:
        return []
    return [f"certificate = {_quoted(str(data.certificate_path))}"]


def _address(address: object) -> str:
    if isinstance(address, SerialPort):
        return f'{{ kind = "serial", port = {_quoted(address.port)} }}'
    return f'{{ kind = "tcp", host = "{address.host}", port = {address.port} }}'  # type: ignore[attr-defined]


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'

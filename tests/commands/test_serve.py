"""The service as a process: it starts, answers, and ends well when told to."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest

from service.catalogue.loading import demo_shop_path

WAIT_S = 30.0


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@pytest.mark.parametrize(("told", "picture_workers"), [(signal.SIGTERM, "1"), (signal.SIGINT, "0")])
def test_serve_ends_well_when_told(
    tmp_path: Path, told: signal.Signals, picture_workers: str
) -> None:
    """Told to stop it exits with 0: a supervisor is not to take a good stop for a crash."""
    port = _free_port()
    # With a catalogue of one's own no demonstration pictures are measured first.
    own = {"GARMENT_DATA_DIR": str(tmp_path / "data"), "GARMENT_CATALOGUE_PATH": demo_shop_path()}
    environment = {**os.environ, **{name: str(value) for name, value in own.items()}}
    environment["GARMENT_PICTURE_WORKERS"] = picture_workers
    command = [sys.executable, "-c", "from service.cli import main; raise SystemExit(main())"]
    with subprocess.Popen(  # noqa: S603 - our own command line
        [*command, "serve", "--port", str(port)], env=environment, stderr=subprocess.DEVNULL
    ) as process:
        try:
            _wait_until_ready(port)
            process.send_signal(told)
            assert process.wait(WAIT_S) == 0
        finally:
            process.kill()


def _wait_until_ready(port: int) -> None:
    deadline = time.monotonic() + WAIT_S
    with httpx.Client(base_url=f"http://127.0.0.1:{port}", trust_env=False) as client:
        while time.monotonic() < deadline:
            try:
                if client.get("/readyz").status_code == 200:
                    return
            except httpx.TransportError:
                time.sleep(0.05)
    raise AssertionError("the service did not become ready")

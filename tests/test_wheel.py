"""The wheel, installed into an empty environment, runs the demonstration."""

from __future__ import annotations

import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_the_wheel_installed_alone_runs_the_demonstration(tmp_path: Path) -> None:
    """A person with only the wheel sees the whole job; protocols come along inside it."""
    dist = tmp_path / "dist"
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(dist), str(ROOT)],
        check=True,
        capture_output=True,
    )
    (wheel,) = dist.glob("*.whl")
    venv.create(tmp_path / "env", with_pip=True)
    python = tmp_path / "env" / "bin" / "python"
    subprocess.run([str(python), "-m", "pip", "install", "-q", str(wheel)], check=True, capture_output=True)
    home = tmp_path / "home"
    command = str(tmp_path / "env" / "bin" / "quarantine")
    shown = subprocess.run(
        [command, "demo", "--home", str(home)], capture_output=True, text=True, cwd=tmp_path, check=True
    ).stdout
    assert "Q2-1: release. Seal" in shown
    checked = subprocess.run(
        [command, "--home", str(home), "check"], capture_output=True, text=True, cwd=tmp_path, check=True
    ).stdout
    assert "The record is whole" in checked
    names = subprocess.run([command, "protocol", "list"], capture_output=True, text=True, cwd=tmp_path, check=True)
    assert "marine-praziquantel" in names.stdout

"""Row F90: a process killed at any point leaves a record that is whole, and at most its last entry is missing."""

from __future__ import annotations

import json
import subprocess
import sys
from collections import Counter
from pathlib import Path


def test_F90_a_hundred_killed_writers_each_leave_a_whole_record(tmp_path: Path) -> None:
    """Ten actions, killed at ten random steps or moments each: every record opens and `check` finds it whole; the
    entry is there whole or not at all, and there if its keeper was told so; and the next keeper's entry follows."""
    ran = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("rows_victim.py")), str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr[-2000:]
    left = [json.loads(line) for line in ran.stdout.splitlines()]
    assert list(Counter(one["action"] for one in left).values()) == [10] * 10
    assert {one["kept"] for one in left} <= {0, 1}
    assert all(one["kept"] == 1 for one in left if one["told"])
    assert all(one["goes_on"] == 1 for one in left)
    assert all(one["calendar"] for one in left), "a calendar file is the old one or a whole new one"
    # Killed at a step of the action, nearly all die before their entry is made: the other way, nothing was tried.
    assert sum(one["kept"] == 0 for one in left if one["by_step"]) >= 40

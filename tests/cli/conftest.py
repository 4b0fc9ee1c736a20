"""Finds the table of doses and its reader, which these tests share with those of the pure room."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "dosing"))

"""Who was away and what was shut, as tables: what stands, of all or of one batch's stay."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from test_tables_csv import table

Print = Callable[..., str]
DAY_4 = "2026-02-14 12:00:00"


def people(folder: Path) -> tuple[list[tuple[str, str, str, str]], list[tuple[str, str, str, str, str]]]:
    """What both tables say, without times and ids."""
    absent = [(r["first_day"], r["last_day"], r["keeper"], r["because"]) for r in table(folder, "absences")]
    shut = [(r["first_day"], r["last_day"], r["site"], r["weekdays"], r["what"]) for r in table(folder, "closures")]
    return absent, shut


def test_absences_and_closures_are_tables_and_what_was_withdrawn_is_in_neither(room: Print, tmp_path: Path) -> None:
    """An absence before the fish came is none of the batch's; from a day on only what has not ended before it."""
    room("absent", "Robin", "2026-02-01", "2026-02-03", "--because", "course")
    room("absent", "Robin", "2026-02-20", "2026-02-22", "--because", "holiday")
    room("absent", "Robin", "2026-03-01", "2026-03-02", "--because", "never mind")
    room("absent", "Robin", "2026-03-01", "--withdraw")
    room("site", "closed", "Hall", "2026-02-16", "2026-03-15", "--weekdays", "sat,sun", "--what", "weekends")
    early = ("2026-02-01", "2026-02-03", "Robin", "course")
    late = ("2026-02-20", "2026-02-22", "Robin", "holiday")
    weekends = ("2026-02-16", "2026-03-15", "Hall", "sat; sun", "weekends")
    for name, more, absent in (
        ("all", (), [early, late]),
        ("one", ("--batch", "Q2-1"), [late]),
        ("since", ("--since", "2026-02-10"), [late]),
    ):
        room("export", str(tmp_path / name), *more, at=DAY_4)
        assert people(tmp_path / name) == (absent, [weekends]), name
    (first, _) = table(tmp_path / "all", "absences")
    assert (first["entered_by"], first["entered_at"][:10]) == ("Robin", "2026-02-13")


def test_of_a_closed_batch_what_began_after_it_is_none_of_it(room: Print, tmp_path: Path) -> None:
    """The batch is released on day 4; who is away a week later is in the table of all and not in that of the batch."""
    room("absent", "Robin", "2026-02-20", "2026-02-22", "--because", "holiday")
    room("site", "closed", "Hall", "2026-02-14", "2026-02-15", "--what", "a fair")
    room("signoff", "Q2-1", "--release", "--deviation", "on a veterinary instruction", at=DAY_4)
    room("export", str(tmp_path / "one"), "--batch", "Q2-1", at=DAY_4)
    assert people(tmp_path / "one") == ([], [("2026-02-14", "2026-02-15", "Hall", "", "a fair")])

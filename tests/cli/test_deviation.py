"""The amount given against the amount shown (F27): what the template allows, the reason beyond it, and sign-off."""

from __future__ import annotations

from pathlib import Path

import pytest
from once_room import OnceRoom, template, with_template

from quarantine.failures import Failure
from quarantine.protocol import read

SCALE = 'scale_step = "0.0001 g"\n'
"""Fine enough for a dose of exactly 0.1 g: 2 mg/L in 50 L."""


def hall_of(tmp_path: Path, capsys: pytest.CaptureFixture[str], more: str) -> OnceRoom:
    """A hall under a template, with a dose of 0.0986 g due: 2 mg/L of 49.3 L."""
    hall = OnceRoom(tmp_path / "home", capsys)
    hall.home.mkdir()
    (hall.home / "settings.toml").write_text(SCALE, encoding="utf-8")
    return with_template(hall, tmp_path, more)


@pytest.mark.parametrize(
    ("more", "gave", "asked"),
    [
        # 0.0986 g is shown: 10 % of it is 0.00986 g, 5 % 0.00493 g, 7.5 % 0.007395 g (by hand).
        ('allowance = "10 %"', "0.10846 g", ""),
        ('allowance = "10 %"', "0.08874 g", ""),
        ('allowance = "10 %"', "0.10847 g", "--because"),
        ('allowance = "10 %"', "0.08873 g", "--because"),
        ('allowance = "5 %"', "0.10353 g", ""),
        ('allowance = "5 %"', "0.10354 g", "--because"),
        ('allowance = "5 %"', "0.10846 g", "--because"),
        ('allowance = "7.50 %"', "0.105995 g", ""),
        ('allowance = "7.50 %"', "0.105996 g", "--because"),
        ('allowance = "5 %"', "0.1479 g", "--because"),
        ("", "0.10846 g", ""),
        ("", "0.10847 g", "--really"),
    ],
)
def test_F27_ten_percent_over_passes_or_not_by_the_limit_of_the_template(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: str, gave: str, asked: str
) -> None:
    """Exactly at the allowance passes, a hundredth of a milligram beyond does not; without one the question is C7's."""
    hall = hall_of(tmp_path, capsys, more)
    code = hall.code()
    if not asked:
        assert "given to Q2" in hall.type(f'done {code} --gave "{gave}"')
        return
    before = hall.json("check")["head"]
    said = hall.type(f'done {code} --gave "{gave}"', 1)
    assert asked in said
    assert "othing was recorded" in said
    assert hall.json("check")["head"] == before


def test_F27_both_amounts_and_the_reason_are_stored_and_stand_at_sign_off(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0.105 g for 0.0986 g under 5 %: recorded with its reason, shown by `why`, listed and sealed at sign-off."""
    hall = hall_of(tmp_path, capsys, 'allowance = "5 %"')
    code = hall.code()
    hall.type(f'done {code} --gave "0.105 g" --because "the tail of the jar"')
    given = hall.given(code)
    assert {name: given[name] for name in ("prepared", "given", "allowance", "because")} == {
        "prepared": "0.0986",
        "given": "0.105",
        "allowance": "5 %",
        "because": "the tail of the jar",
    }
    assert "another amount, because: the tail of the jar" in hall.type(f"why {code}")
    line = (
        "Deviation of a dose, 2026-02-13 20:00: 0.105 g of praziquantel given, 6.5 % more than the 0.0986 g shown "
        "(allowed: 5 %): the tail of the jar."
    )
    assert line in hall.type("signoff Q2-1")
    assert hall.json("signoff Q2-1")["dose_deviations"] == [line]
    assert line in hall.type('signoff Q2-1 --release --deviation "on a veterinary instruction"')
    assert "The record is whole" in hall.type("check")


def test_a_dose_inside_the_allowance_is_no_deviation(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A reason that nobody asked for is kept, and sign-off has nothing to say."""
    hall = hall_of(tmp_path, capsys, 'allowance = "5 %"')
    code = hall.code()
    hall.type(f'done {code} --gave "0.1 g" --because "rounder"')
    assert hall.given(code)["because"] == "rounder"
    assert hall.json("signoff Q2-1")["dose_deviations"] == []


def test_a_corrected_amount_is_judged_as_it_stands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Corrected from inside the allowance to outside: listed, and that no reason was said; and back: not listed."""
    hall = hall_of(tmp_path, capsys, 'allowance = "5 %"')
    hall.type(f"done {hall.code()} --as-shown")
    for gave, listed in (("0.12 g", 1), ("0.0986 g", 0)):
        entry = next(e for e in reversed(hall.json("journal")["entries"]) if e["kind"] in ("task done", "corrected"))
        hall.type(f'correct {entry["seal"][:8]} "gave={gave}" --because misread --yes')
        lines = hall.json("signoff Q2-1")["dose_deviations"]
        assert len(lines) == listed
        assert all(line.endswith("no reason was said.") for line in lines)


def test_a_reason_does_not_hide_a_slip(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Ten times the amount with a reason is still asked about once (rule C7); with --really alone the reason is."""
    hall = hall_of(tmp_path, capsys, 'allowance = "10 %"')
    code = hall.code()
    said = hall.type(f'done {code} --gave "0.986 g" --because "a bad scale"', 1)
    assert "10 times" in said
    assert "--really" in said
    assert "--because REASON" in hall.type(f'done {code} --gave "0.986 g" --really', 1)
    both = hall.type(f'done {code} --gave "0.986 g"', 1)
    assert "--really" in both
    assert "--because REASON" in both
    assert "given to Q2" in hall.type(f'done {code} --gave "0.986 g" --really --because "a bad scale"')


def test_an_empty_reason_is_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Blanks are no reason."""
    hall = hall_of(tmp_path, capsys, 'allowance = "5 %"')
    assert "--because" in hall.type(f'done {hall.code()} --gave "0.105 g" --because " "', 2)


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("12 %", 'expected at most 10 %, got "12 %"; beyond that every amount is asked about'),
        ("0 %", "expected a percentage above 0"),
        ("0.1", "expected a percentage above 0"),
    ],
)
def test_an_allowance_that_is_laxer_than_the_house_is_a_mistake_of_the_template(value: str, says: str) -> None:
    """A template may be stricter, never laxer."""
    with pytest.raises(Failure) as refused:
        read(template(f'allowance = "{value}"'), "mine.toml")
    assert says in "\n".join((refused.value.sentence, *refused.value.lines))

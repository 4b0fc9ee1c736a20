"""Where sources disagree a template says which one it follows; and no template denies what the program can do."""

from __future__ import annotations

import pytest

from quarantine.protocol import load
from quarantine.templates import shipped

FOLLOWED = {
    "fresh-white-spot": [
        "every other day at 24 to 26 °C and at least 3, usually 5 treatments (an older edition, from memory; followed "
        "here)",
        "4 days apart at 25 °C, three times (a trade page)",
        "4 to 5 days apart at 16 °C (the same edition), 6 days at 18 °C (the trade page); 4 days at 18 to 20 °C, "
        "derived from these, are followed here",
        "3 to 14 days after the last spot (hobby pages); here five doses",
    ],
    "marine-tank-transfer": [
        "may mean moves on days 0, 3, 6 and 9, or on 3, 6, 9 and 12; the longer is followed",
        "twice, 4 days apart (a case of imported reef fish; followed here)",
        "eggs of a skin fluke hatch after 5 to 6 days at 25 °C",
    ],
    "marine-copper": [
        "0.18 to 0.2 mg/L (one copy of a manual; followed here), 0.15 to 0.2 (from memory)",
        "up to 3 weeks (the same copy), 14 to 21 days or longer (from memory), 14 days and then 14 without a drug (a "
        "trade scheme; followed here)",
        "twice a day (from memory), here every day and before a dose",
    ],
    "koi-warm-hold": [
        "30 days at least (second-hand, not found again; followed here), 14 days at 21 to 26 °C (a veterinarian's web "
        "guide)",
        "ideally under 0.6 °C (1 °F) a day (a practice's page; followed here), up to 2 °C (a course text)",
    ],
    "fresh-flukes": [
        "the table derived from the same source is followed",
        "eggs hatch within 4 days at 20 °C (pages, second-hand)",
        "2 to 10 mg/L, for hours or longer (a manual, from memory; 10 mg/L for 48 hours, the trial, is followed here)",
    ],
}
"""As the notes on treatments (rows F07, T18, C04, C06, Z01, Z03, Z09) and on parasite timing (sections 5.1 to 5.9) list
them; statuses are those of the notes."""


@pytest.mark.parametrize("name", sorted(FOLLOWED))
def test_a_template_says_which_source_it_follows_where_they_disagree(name: str) -> None:
    """Every disagreement of its figures that the notes list, each side with what it is, and which one is followed."""
    summary = " ".join(load(name).summary.split())
    assert "disagree" in summary
    assert [words for words in FOLLOWED[name] if words not in summary] == []


@pytest.mark.parametrize("name", sorted(shipped()))
def test_no_template_says_that_the_program_does_not_know_the_breaks_of_a_school(name: str) -> None:
    """It does: closures are recorded, and days of arrival are proposed by them."""
    summary = " ".join(load(name).summary.split())
    assert "does not know when term ends" not in summary
    if name == "fresh-school-watch":
        assert "quarantine site closed" in summary
        assert "quarantine protocol start-days" in summary

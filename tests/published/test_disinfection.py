"""How long an emptied tank takes from one chore to the next, as the sources give it.

Sequence and detergent, 15 min: Marine Institute Ireland, Disinfection on aquaculture sites, fishhealth.ie (year not
recorded). Hypochlorite, 200 mg/L of chlorine for 30 to 60 min: Piper et al., Fish Hatchery Management, US Fish and
Wildlife Service, p. 283, 1982. Drying: 24 h, 48 h, a week: common practice, no source.
"""

from __future__ import annotations

from datetime import timedelta

from quarantine.emptied import CHORES, SOONEST

DETERGENT_MINUTES = 15
HYPOCHLORITE_MINUTES = 30
DRYING_HOURS = 24


def test_the_sequence_is_empty_disinfect_dry() -> None:
    """Debris out first, then detergent, rinse and disinfectant; bone dry before it is used again."""
    assert [check.id.removeprefix("emptied-") for check in CHORES] == ["drain", "disinfect", "dry"]


def test_detergent_and_hypochlorite_need_their_time() -> None:
    """Both figures are whole minutes, and exact; the shorter end of the contact is the least."""
    gap = SOONEST[CHORES[1].step]
    assert gap.least == timedelta(minutes=DETERGENT_MINUTES + HYPOCHLORITE_MINUTES)
    for words in ("15 min (Marine Institute Ireland", "200 mg/L 30 min", "Piper et al.", "p. 283, 1982"):
        assert words in gap.says


def test_drying_has_no_source_and_says_so() -> None:
    """The shortest time of common practice, named as that."""
    gap = SOONEST[CHORES[2].step]
    assert gap.least == timedelta(hours=DRYING_HOURS)
    assert "no source; common practice" in gap.says

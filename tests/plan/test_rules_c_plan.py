"""Rules A9 to A13, B2 and C5 to C19 where a small change of the code went unseen: each of these was broken by hand, and
is held here."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from freezegun import freeze_time
from history import History, small
from test_as_needed import FOAM
from test_bathing import POUR, WATER, baths, change, fact, pour
from test_redose import WEEKLY, protocol, treated

from quarantine import evidence as ev
from quarantine.actions.needing import _too_soon, _uses
from quarantine.actions.sheets import for_anyone
from quarantine.actions.today import Listed
from quarantine.bathing import before_pour, contact_word, is_timed, to_put_back
from quarantine.cli.app import run
from quarantine.dosing import Setting, propose, read_strength
from quarantine.facts import Condition
from quarantine.formulary import is_prolonged, regimen
from quarantine.protocol import ProtocolError, read, shipped
from quarantine.quantity import decimal_up
from quarantine.water.ledger import Water, level_of
from quarantine.water.level import Level
from quarantine.water.mixing import Side, judge_change

# --- C5: the end of a bath -------------------------------------------------------------------------------------------

HOUR = timedelta(hours=1)


def setting(litres: float, plus_minus: float, *, kind: str, step: str) -> Setting:
    """A measured water with nothing in it, at the time of the pour."""
    return Setting(
        kind=kind,
        zone="Europe/Berlin",
        now=POUR,
        volume=Water(litres, plus_minus),
        volume_says="measured",
        levels={},
        doses=(),
        evidence=None,
        scale_step_grams=Decimal(step),
        species=("Astronotus ocellatus",),
    )


@pytest.mark.parametrize(
    ("drained_after", "word"), [(22, "partly"), (23, "as published"), (24, "as published"), (24.5, "overrun")]
)
def test_c5_contact_runs_from_the_last_addition_and_its_ceiling_from_the_first(drained_after: float, word: str) -> None:
    """A second half an hour later: 21 h after it are under 90 % of 24 h, and 24 h after the first is the most."""
    facts = [pour(), pour(POUR + HOUR, "f9")]
    (bath,) = baths(facts)
    assert contact_word(bath, POUR + drained_after * HOUR) == word


def test_c5_water_that_flows_through_ends_the_contact_where_it_begins() -> None:
    """A flow is a drain like a change: what it took out of 24 h is counted from its first minute."""
    flow = fact("exchange", POUR + 20 * HOUR, "f2", None, litres_per_hour="5", until=None)
    (bath,) = baths([pour(), flow])
    assert bath.drained_at == POUR + 20 * HOUR
    assert contact_word(bath, bath.drained_at) == "partly"


def test_c5_a_pour_after_a_drain_begins_the_contact_anew() -> None:
    """5 L out after 10 h end no bath of 2 mg/L; once it was poured again nothing has been drained since."""
    drained = [pour(), change(5, 10 * HOUR)]
    (bath,) = baths(drained)
    assert bath.drained_at == POUR + 10 * HOUR
    (again,) = baths([*drained, pour(POUR + 11 * HOUR, "f9")])
    assert (again.drained_at, again.over) == (None, None)
    assert again.last.at == POUR + 11 * HOUR


def test_c5_a_bath_has_ended_at_its_limit_itself() -> None:
    """ "At or under": the upper bound that a change leaves is exactly the limit."""
    left = level_of([pour(), change(40, 24 * HOUR)], "levamisole", WATER, "none", POUR + 25 * HOUR).high
    assert left is not None
    (bath,) = baths([pour(limit_mg_per_l=str(decimal_up(left))), change(40, 24 * HOUR)])
    assert bath.over is not None
    assert bath.upper == bath.limit


@pytest.mark.parametrize(("hours", "timed"), [("48", True), ("49", False)])
def test_c5_a_bath_of_48_hours_is_timed_and_a_longer_one_is_prolonged(hours: str, timed: bool) -> None:
    """The limit itself belongs to the timed ones, by both of the functions that ask."""
    row = regimen("N01")[1]
    assert row.contact is not None
    assert row.contact.high is not None
    row = row._replace(contact=row.contact._replace(high=row.contact.high._replace(value=Decimal(hours), unit="h")))
    assert is_timed(row) is timed
    assert is_prolonged(row) is not timed


def test_c5_the_water_that_stands_ready_counts_what_is_in_the_tank_already() -> None:
    """2 mg/L to 0.1 mg/L in 100 L: 95 L out, and 0.1 L for what floats may hide. With 1 mg/L there before it is 3 mg/L:
    96.666 L, shown as 96.7 L."""
    substance, row = regimen("N01")
    water = setting(100.0, 0.0, kind="fresh", step="0.001")._replace(product=read_strength("100 % as base", substance))
    dose = propose(substance, row, water).dose
    assert dose.add == Decimal("0.2")
    for held, litres in ((0.0, "95.1 L"), (1.0, "96.7 L")):
        said = before_pour(substance, row, water._replace(levels={"levamisole": Level(0.0, held)}), dose, "DXXXX")
        assert said is not None
        assert said.confirm[0].startswith(f"{litres} of matched, conditioned water stand ready")
        assert f"change at least {litres} at once" in said.how


def test_c6_the_dose_that_ends_a_dip_begins_no_bath() -> None:
    """A dip is over once it is told: whatever its fact says of contact, no end is waited for."""
    assert baths([pour(route="dip")]) == []
    assert len(baths([pour()])) == 1


# --- Rules that only the whole program carries ------------------------------------------------------------------------


class House:
    """A record with a tank of 60 x 30 cm filled to 30.1 cm, 54.18 L, and one batch in it from the first of March on."""

    def __init__(
        self,
        home: Path,
        capsys: pytest.CaptureFixture[str],
        fish: str = "12 Melanotaenia praecox, 5 cm",
        protocol: str = "fresh-watch",
    ) -> None:
        self.home, self.capsys = home, capsys
        self.says("2026-03-01 09:00", "site", "add", "Hall", "--zone", "UTC")
        self.says("2026-03-01 09:00", "keeper", "add", "Robin")
        size = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30.1 cm"]
        for tank, role in (("Q1", "quarantine"), ("Show", "display")):
            self.says(
                "2026-03-01 09:00", "tank", "add", tank, "--site", "Hall", "--role", role, "--water", "fresh", *size
            )
        start = ["batch", "start", "--tank", "Q1", "--protocol", protocol, "--arrived", "2026-03-01 09:30"]
        self.says("2026-03-01 10:00", *start, "--fish", fish, "--from", "a breeder", "--to", "Show", "--acknowledge")

    def says(self, at: str, *words: str, code: int = 0) -> str:
        with freeze_time(at):
            found = run(["--home", str(self.home), *words])
        said = self.capsys.readouterr()
        assert found == code, (words, said)
        return " ".join((said.err if code else said.out).split())


def test_c4_the_litres_of_a_planned_change_are_rounded_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A quarter of 54.18 L is 13.545 L: 13.6 L are shown, so that no less goes out than the template says."""
    house = House(tmp_path / "home", capsys)
    assert "13.6 L" in house.says("2026-03-08 10:00", "today")


@pytest.mark.parametrize(("read", "held"), [("0.00", False), ("0.02", False), ("0.30", True), ("0.50", True)])
def test_c13_copper_that_only_a_kit_found_is_there_all_the_same(
    read: str, held: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No dose is on record, and 0.3 mg/L of free copper are in the water: with half of the rule on top it would pass
    the ceiling of 1.795 mg/L of the pentahydrate, 0.457 mg/L of copper. Refused, with a change; never made smaller."""
    house = House(tmp_path / "home", capsys, fish="6 Carassius auratus, 12 cm")
    at = "2026-03-04 10:00"
    house.says(at, "tank", "gauge", "Q1", "--buckets", "10 x 5.42 L ± 0.01 L")
    house.says(at, "reading", "Q1", "alkalinity=180mg/L", "hardness=160mg/L", f"copper_free={read}mg/L")
    asked = ["dose", "copper", "--tank", "Q1", "--regimen", "C01", "--strength", "100 % as CuSO4.5H2O"]
    said = house.says("2026-03-04 11:00", *asked)
    assert ("the ceiling is" in said) is held
    assert ("change at least" in said) is held
    assert ("ADD 0.04 g" in said) is not held


# --- A10, A13, C11, C16: bounds of time and of levels -----------------------------------------------------------------


@pytest.mark.parametrize(("first", "met"), [("03:00", True), ("03:30", None)])
def test_a10_two_readings_under_six_hours_apart_prove_nothing(first: str, met: bool | None) -> None:
    """Six hours themselves are enough, five and a half are not."""
    history = History()
    for clock in (first, "09:00"):
        history.read(3, clock, temperature="25")
    condition = Condition("steady", "temperature", "", "22", "28", "°C", 24)
    assert ev.judge(condition, history.evidence(history.at(3, "12:00"))).met is met


NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("hours", "near"), [(-13, False), (-6, False), (-5.9, True), (0, True), (5.9, True), (6, False), (13, False)]
)
def test_a13_the_gap_counts_to_both_sides_of_a_use(hours: float, near: bool) -> None:
    """One that is told of late may lie before another that is on record; the gap itself is far enough."""
    protocol = small(FOAM.replace("REPEAT", 'as_needed = "6 h", until = "observation"').replace("BY", "0 d"))
    step = next(step for step in protocol.steps if step.id == "foam")
    assert bool(_too_soon(step, [NOON + timedelta(hours=hours)], NOON, "UTC")) is near


@pytest.mark.parametrize(("start", "day"), [(11, 14), (12, 14), (13, 14)])
def test_c11_no_planned_change_falls_on_the_last_day_of_contact_either(start: int, day: int) -> None:
    """Dose on day 3, clearing on days 12 and 13: what is planned up to and on day 13 waits for day 14."""
    made = protocol(more=WEEKLY.replace('arrival = "1 d"', f'arrival = "{start} d"'))
    history = treated(made)
    assert history.runs("weekly", history.at(3, "23:00"))[0].day == history.day(day)


def test_c16_a_change_that_just_reaches_the_limit_is_within_it() -> None:
    """The limit is the most that may be there, and a hair under it is passed."""
    tank, tap = Side((7.5, 0.0), (25.0, 0.0), (1.0, 0.0)), Side((7.9, 0.0), (25.0, 0.0), (0.0, 0.0))
    most = judge_change(tank, tap, 0.5).uia_mg_per_l[1]
    assert judge_change(tank, tap, 0.5, limit_mg_per_l=most).within
    assert not judge_change(tank, tap, 0.5, limit_mg_per_l=most * (1 - 1e-12)).within


# --- B2, C8, C19: the whole program again -----------------------------------------------------------------------------


def test_b2_no_fish_are_added_where_an_unknown_amount_may_be_in_the_water(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A dose whose level nobody knows any more is above zero until all of the water was changed."""
    house = House(tmp_path / "home", capsys)
    at = "2026-03-04 10:00"
    house.says(at, "event", "dose", "Q1", "M01", "--gave", "0.27 g", "--really")
    house.says("2026-03-04 11:00", "event", "unknown", "Q1", "--what", "old tank water")
    added = ["event", "added", "Q1", "2", "--yes"]
    said = house.says("2026-03-04 12:00", *added, code=1)
    assert "still holds an unknown amount of Metronidazole" in said
    house.says("2026-03-04 13:00", "event", "change", "Q1", "--out", "55 L", "--really")
    house.says("2026-03-04 14:00", *added)


def test_c19_each_revision_is_acknowledged_by_itself(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What was acknowledged of the first text says nothing of the second; the same text is not asked of again."""
    house = House(tmp_path / "home", capsys)
    size = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30.1 cm"]
    text = shipped()["fresh-salt-dip"].read_text(encoding="utf-8")
    assert "revision = 1\n" in text
    own = tmp_path / "own.toml"
    at = "2026-03-04 10:00"
    for name in ("Q2", "Q3", "Q4"):
        new = ["tank", "add", name, "--site", "Hall", "--role", "quarantine", "--water", "fresh", *size]
        house.says(at, *new)
    fish = ["--fish", "12 Melanotaenia praecox, 5 cm", "--from", "a breeder", "--to", "Show"]

    def start(tank: str, *more: str, code: int = 0) -> str:
        words = ["batch", "start", "--tank", tank, "--protocol", str(own), "--arrived", "2026-03-04 09:30"]
        return house.says(at, *words, *fish, *more, code=code)

    own.write_text(text, encoding="utf-8")
    assert "--acknowledge" in start("Q2", code=1)
    start("Q2", "--acknowledge")
    start("Q3")
    own.write_text(text.replace("revision = 1\n", "revision = 2\n"), encoding="utf-8")
    assert "--acknowledge" in start("Q4", code=1)
    start("Q4", "--acknowledge")


@pytest.mark.parametrize("limit", ['max = "0.125 mg/L"\nwithin = "24 h"', 'max = "0.05 mg/L"\nwithin = "24 h"'])
def test_c8_no_word_stands_for_ammonia_or_nitrite(limit: str) -> None:
    """A template that lets a word do instead of either reading is a mistake."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    assert limit in text
    read(text, "t.toml")
    with pytest.raises(ProtocolError, match="or stricter"):
        read(text.replace(limit, f'{limit}\nor_word = "It smells fine"'), "t.toml")


MARINE = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
PUT_BACK = re.search(r'\[\[step\]\]\nid = "put-back"\n.*?(?=\n\[\[)', MARINE, re.DOTALL)
FILTER = 'filter = "running"\noff = ["carbon", "uv", "ozone", "skimmer"]'


@pytest.mark.parametrize(
    ("written", "slipped", "says"),
    [
        ('max = "0.05 mg/L"\nwithin = "24 h"', 'max = "0.05 mg/L"\nwithin = "25 h"', "uia.*or stricter"),
        ('max = "28 °C"\nwithin = "24 h"', 'max = "28 °C"\nwithin = "23 h"', "24 h.*or longer"),
        ('steady = "temperature"\nmin = "22 °C"\n', 'steady = "temperature"\n', "24 h.*or longer"),
        ('min = "5 mg/L"\nwithin = "24 h"', 'min = "4.9 mg/L"\nwithin = "24 h"', "5 mg/L.*or stricter"),
    ],
)
def test_c8_the_gate_is_no_laxer_in_any_template(written: str, slipped: str, says: str) -> None:
    """In range for a whole day, with both ends said, and oxygen of 5 mg/L at least."""
    assert written in MARINE
    with pytest.raises(ProtocolError, match=says):
        read(MARINE.replace(written, slipped), "t.toml")


def test_c10_one_tank_says_of_its_filter_too() -> None:
    """Running or off has no default, whichever water is dosed."""
    assert FILTER in MARINE
    alone = MARINE.replace('water = "system"', 'water = "tank"').replace('filter = "running"\n', "")
    with pytest.raises(ProtocolError, match="running or off"):
        read(alone, "t.toml")


def test_c10_a_filter_that_is_off_alone_is_put_back_too() -> None:
    """Without carbon, UV, ozone or skimmer in the list the chore is asked for all the same."""
    assert PUT_BACK is not None
    without = MARINE.replace(PUT_BACK[0], "")
    with pytest.raises(ProtocolError, match="puts this back"):
        read(without.replace(FILTER, 'filter = "off"'), "t.toml")


def test_c10_a_filter_off_for_nobody_knows_how_long_is_a_task() -> None:
    """The source of Z01 states no contact: that is over an hour."""
    assert to_put_back((), "off", regimen("Z01")[1], ()) == ["filter"]
    assert to_put_back((), "running", regimen("Z01")[1], ()) == []


@pytest.mark.parametrize("protocols", [("fresh-watch", "fresh-salt-dip"), ("fresh-salt-dip", "fresh-watch")])
def test_b2_medicine_for_one_of_two_batches_in_a_water_is_refused(
    protocols: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whichever of the two is there first; two that are only watched may share it."""
    house = House(tmp_path / "home", capsys, protocol=protocols[0])
    fish = ["--fish", "3 Melanotaenia praecox, 5 cm", "--from", "a shop", "--to", "Show", "--yes", "--acknowledge"]
    start = ["batch", "start", "--tank", "Q1", "--arrived", "2026-03-03 09:30", *fish, "--protocol"]
    at = "2026-03-04 10:00"
    assert "(rule B2)" in house.says(at, *start, protocols[1], code=1)
    if protocols[0] == "fresh-watch":
        house.says(at, *start, "fresh-watch")


@pytest.mark.parametrize(("days", "near"), [(-3, False), (-2, False), (-1, True), (0, True), (1, True), (2, False)])
def test_a13_a_gap_of_days_is_over_on_its_last_day(days: int, near: bool) -> None:
    """Two days apart: the day after the next is far enough."""
    template = small(FOAM.replace("REPEAT", 'as_needed = "2 d", until = "observation"').replace("BY", "0 d"))
    step = next(step for step in template.steps if step.id == "foam")
    assert bool(_too_soon(step, [NOON + timedelta(days=days)], NOON, "UTC")) is near


@pytest.mark.parametrize(("clock", "met"), [("00:00", True), ("00:01", None)])
def test_a10_36_hours_without_a_reading_are_known_and_a_minute_more_is_not(clock: str, met: bool | None) -> None:
    """From noon of day 0, where the three days begin, to midnight after day 1."""
    history = History()
    for n, at in ((0, "12:00"), (2, clock), (3, "11:00")):
        history.read(n, at, temperature="25")
    condition = Condition("steady", "temperature", "", "22", "28", "°C", 72)
    assert ev.judge(condition, history.evidence(history.at(3, "12:00"))).met is met


@pytest.mark.parametrize(
    ("kind", "title", "anyone"),
    [("chore", "Skim the foam", True), ("dose", "Skim the foam", False), ("chore", "Weigh the praziquantel", False)],
)
def test_c19_a_sitter_gets_no_dose_and_no_word_of_medicine(kind: str, title: str, anyone: bool) -> None:
    """Even where a template says that anyone may do it."""
    row = {"kind": kind, "title": title, "detail": '{"who": "anyone"}'}
    assert for_anyone(Listed(row, "due", None, None)) is anyone


def test_a9_the_days_count_from_the_end_of_the_last_contact_of_all() -> None:
    """Two medicines, the one out of the water on day 3 and the other on day 5: two days since are met on day 7."""
    history = History()
    history.dose(history.at(3), route="dip")
    history.dose(history.at(5), route="food", substance="metronidazole")
    history.looks(0, 7)
    since = Condition("days_since_dose", 2, "two days")
    assert ev.judge(since, history.evidence(history.at(6, "12:00"))).met is False
    assert ev.judge(since, history.evidence(history.at(7, "12:00"))).met is True


@pytest.mark.parametrize(("clock", "met"), [("21:00", True), ("20:59", None)])
def test_a10_a_reading_36_hours_before_the_next_still_counts(clock: str, met: bool | None) -> None:
    """Before the 24 hours, and to the minute."""
    history = History()
    for n, at in ((1, clock), (3, "09:00")):
        history.read(n, at, temperature="25")
    condition = Condition("steady", "temperature", "", "22", "28", "°C", 24)
    assert ev.judge(condition, history.evidence(history.at(3, "12:00"))).met is met


def test_a13_what_was_skipped_and_what_another_batch_was_given_is_no_use() -> None:
    """The gap counts from what was really given to these fish or their water."""
    history = History()
    for kind, owner, n in (("done", "B", 1), ("skip", "B", 2), ("done", "another", 3), ("done", "T", 4)):
        history.fact(kind, history.at(n), {"key": f"{owner}:foam:f1:1"})
    batch = {"id": "B", "tank": "T", "system": "S"}
    assert _uses(history.facts, batch, "foam") == [history.at(1), history.at(4)]


def test_c18_a_planned_change_is_not_ticked_without_its_litres(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """They are shown, and are still said by the one who changed them."""
    house = House(tmp_path / "home", capsys)
    at = "2026-03-08 10:00"
    tasks = json.loads(house.says(at, "--json", "today"))["tasks"]
    code = next(task["code"] for task in tasks if task["kind"] == "change")
    assert "Say --gave LITRES, or --as-shown (shown: 13.6 L)" in house.says(at, "done", code, code=1)
    house.says(at, "done", code, "--as-shown")


def test_c9_the_end_of_a_bath_is_held_by_nobody_s_claim(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Robin said to be on it; Alex, who stands there, ends it without a question."""
    house = House(tmp_path / "home", capsys)
    house.says("2026-03-04 09:00", "keeper", "add", "Alex")
    at, robin, alex = "2026-03-04 10:00", ("--as", "Robin"), ("--as", "Alex")
    gave = ["event", "dose", "Q1", "N01", "--gave", "0.1 g", "--strength", "100 % as base", "--really"]
    house.says(at, *robin, *gave)
    tasks = json.loads(house.says(at, "--json", "today"))["tasks"]
    code = next(task["code"] for task in tasks if task["step"] == "bath.end")
    house.says("2026-03-05 09:50", *robin, "claim", code)
    assert "the bath has ended" in house.says("2026-03-05 09:55", *alex, "done", code, "--gave", "54 L")


def test_c19_a_calendar_has_no_dose_for_who_has_not_acknowledged_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Robin read the cautions and Alex did not, whoever else has."""
    house = House(tmp_path / "home", capsys, protocol="fresh-salt-dip")
    house.says("2026-03-01 11:00", "keeper", "add", "Alex")
    for keeper, has in (("Robin", True), ("Alex", False)):
        file = tmp_path / f"{keeper}.ics"
        house.says("2026-03-01 12:00", "--as", "Robin", "calendar", "write", str(file), "--keeper", keeper)
        text = file.read_text(encoding="utf-8").replace("\r\n ", "")
        assert "BEGIN:VEVENT" in text
        assert ("Salt dip" in text) is has

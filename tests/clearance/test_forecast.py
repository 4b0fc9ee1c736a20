"""The forecast of sign-off against a history that is lived through, day by day."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from history import History, small

from quarantine.water.ledger import Water

TEMPLATES = ("fresh-watch", "marine-watch", "marine-praziquantel")
EVENING = "21:00"


def live(history: History, *, mishaps: dict[int, str] | None = None, last: int = 90) -> tuple[date, list[date]]:
    """Live until every criterion is met; that day, and the forecast of each evening."""
    forecasts = []
    for n in range(last):
        what = (mishaps or {}).get(n, "")
        if what == "died":
            history.died(n, "11:00")
        elif what == "added":
            history.fact("added", history.at(n, "11:00"), {"count": 2})
        elif what == "other batch":
            history.fact("arrival", history.at(n, "11:00"), {"count": 2}, batch="other")
        elif what == "extended":
            history.fact("extended", history.at(n, "11:00"), {"days": 7})
        elif what:
            history.look(n, "12:30", signs=(what,))
        if (mishaps or {}).get(n - 1, "") == "gasping":  # what held every dose is lifted by a person (rules A8 and C9)
            history.fact("lift", history.at(n, "10:00"), {"because": "air, and a test: in limit"})
        history.perfect_day(n, but=("look", "feed") if what in ("gasping", "white spots") else ())
        evening = history.at(n, EVENING)
        if history.earliest(evening) <= history.day(n):  # the template's note: test again before sign-off
            history.read(n, "13:00", temperature="25", tan="0", nitrite="0", ph="7.5")
        if all(judged.met for judged in history.judged(evening)):
            return history.day(n), forecasts
        forecasts.append(history.earliest(evening))
    raise AssertionError(f"never ready: {[j for j in history.judged(history.at(last, EVENING)) if not j.met]}")


@pytest.mark.parametrize("template", TEMPLATES)
def test_the_forecast_is_the_day_on_which_a_perfect_history_is_ready(template: str) -> None:
    """What is said on the evening of arrival, and on every evening after it, comes true on that day."""
    history = History(template)
    ready, forecasts = live(history)
    assert set(forecasts) == {ready}
    assert ready == history.day(30)


@pytest.mark.parametrize("template", TEMPLATES)
def test_the_forecast_in_the_morning_is_the_same(template: str) -> None:
    """Before the first work of a day the forecast already counts on that day."""
    history = History(template)
    for n in range(30):
        if n:
            assert history.earliest(history.at(n, "06:00")) == history.day(30)
        history.perfect_day(n)


@pytest.mark.parametrize(
    ("mishaps", "expected"),
    [
        ({9: "gasping"}, 39),
        ({9: "white spots"}, 30),
        ({20: "white spots"}, 34),
        ({12: "died"}, 42),
        ({5: "added"}, 35),
        ({6: "other batch"}, 36),
        ({5: "extended"}, 37),
        ({9: "gasping", 25: "died"}, 55),
    ],
)
@pytest.mark.parametrize("template", ["fresh-watch", "marine-watch"])
def test_after_a_mishap_the_new_forecast_comes_true(template: str, mishaps: dict[int, str], expected: int) -> None:
    """A sign, a death, new fish or an extension move the forecast once, to the day that is then reached."""
    history = History(template)
    ready, forecasts = live(history, mishaps=mishaps)
    assert ready == history.day(expected)
    assert set(forecasts[max(mishaps) :]) == {ready}


def test_a_medicated_batch_waits_fourteen_days_from_the_end_of_contact() -> None:
    """Where one dose is late, clearing and the drug-free days follow it, and the forecast with them."""
    history = History("marine-praziquantel")
    for n in range(12):
        history.perfect_day(n, but=("dose",))
    history.perfect_day(12)
    said = history.earliest(history.at(12, EVENING))
    # doses on days 12 and 16, changes from day 19 to 24, then 14 days
    assert said == history.day(38)
    for n in range(13, 38):
        history.perfect_day(n)
        assert not all(j.met for j in history.judged(history.at(n, EVENING)))
    history.perfect_day(38)
    assert all(j.met for j in history.judged(history.at(38, EVENING)))


def test_medicine_that_stayed_in_the_water_is_not_forecast_as_gone() -> None:
    """When the planned changes left more than 5 % of the target, the forecast starts from today, not from the plan."""
    history = History("marine-praziquantel", water=Water(200.0, 2.0))
    for n in range(18):
        history.perfect_day(n, but=("change",) if n >= 12 else ())
    for task in history.runs("clear-water", history.at(18, "08:00")):
        if task.outcome is None:
            history.fact("done", history.at(18, "09:00"), {"key": task.key})
    n = 25
    assert history.earliest(history.at(n, EVENING)) >= history.day(n + 14)
    level = next(j for j in history.judged(history.at(n, EVENING)) if "praziquantel" in j.says and "upper" in j.says)
    assert level.met is False


def test_A2_met_on_the_last_day_only_after_its_look() -> None:
    """Thirty days after arrival nothing is met until that day's look is logged."""
    history = History("fresh-watch")
    for n in range(30):
        history.perfect_day(n)
    before = {j.title: j.met for j in history.judged(history.at(30, "08:00"))}
    assert before["Thirty days of observation are complete"] is False
    history.look(30, "09:00")
    after = {j.title: j.met for j in history.judged(history.at(30, "10:00"))}
    assert after["Thirty days of observation are complete"] is True
    assert history.day(30) == date(2026, 3, 12)


def test_A8_a_period_with_a_blank_task_is_not_complete() -> None:
    """Its days may be counted: one past task without an outcome keeps a period open, a reason closes it."""
    history = History("fresh-watch")
    for n in range(31):
        history.perfect_day(n, but=("change",) if n == 14 else ())
    evening = history.at(30, EVENING)
    assert all(j.met for j in history.judged(evening))  # the change of day 14 was done on day 15
    history = History("fresh-watch")
    for n in range(31):
        history.perfect_day(n, but=("change",))
    period = history.judged(evening)[0]
    assert period.met is False
    assert "4 past tasks have no outcome" in period.says
    for task in history.runs("weekly-change", evening):
        if task.day is not None and task.day < history.day(30):
            history.fact("skip", evening, {"key": task.key, "task_kind": "change", "because": "tested well"})
    assert history.judged(evening)[0].met is True


def test_A8_an_open_hold_keeps_a_medicated_period_open() -> None:
    """While an emergency holds a dose that is owed, the period is not complete and says so."""
    history = History("marine-praziquantel")
    history.look(2, signs=("gasping",))
    evening = history.at(40, EVENING)
    history.looks(3, 40)
    assert "a hold is open" in history.judged(evening)[0].says
    history.fact("lift", history.at(3), {})
    assert "a hold is open" not in history.judged(evening)[0].says


def test_an_extension_lengthens_the_clear_count_too() -> None:
    """A period of clear days that was extended asks for so many more clear days, and then is complete for good."""
    history = History(small("", period="clear"))
    history.look(0)
    history.fact("extended", history.at(0, "12:00"), {"days": 3})
    history.looks(1, 20)
    for n in (12, 13, 16, 20):
        period = history.plan(history.at(n, EVENING)).standings["B"].periods[0]
        assert period.complete_on == history.day(13)
    assert history.judged(history.at(12, EVENING))[0].met is False
    assert history.judged(history.at(13, EVENING))[0].met is True


def test_a_drug_free_period_is_not_complete_while_the_drug_is_in_the_water() -> None:
    """However long ago the dose was: with the drug still there, all the days that are missing lie ahead."""
    history = History(small("", period="drug-free"))
    history.dose(history.at(3))
    history.looks(0, 40)
    period = history.plan(history.at(40, EVENING)).standings["B"].periods[0]
    assert period.complete_on == history.day(40) + timedelta(days=8)  # days 1 and 2 were counted
    for clock in ("08:00", "09:00", "10:00", "11:00", "12:00", "13:00"):
        history.change(40, clock, 100)
    period = history.plan(history.at(41, EVENING)).standings["B"].periods[0]
    assert period.complete_on == history.day(48)


def test_unknown_is_never_met_and_says_what_is_missing() -> None:
    """A reading that is too old and a count never made cannot be judged."""
    history = History("fresh-watch")
    judged = {j.title: j for j in history.judged(history.at(1))}
    unknown = [j for j in judged.values() if j.met is None]
    assert len(unknown) == 3
    assert all("no reading" in j.says or "have not been counted" in j.says for j in unknown)
    assert {j.as_json()["verdict"] for j in unknown} == {"cannot be judged"}


def test_A8_a_hold_that_nobody_lifted_keeps_a_batch_that_owes_no_dose() -> None:
    """Two deaths in a day hold every dose of that water (rule C9); thirty good days do not lift it, a person does."""
    history = History("fresh-watch")
    history.perfect_day(0)
    history.died(1, "11:00")
    history.died(1, "12:00")
    for n in range(1, 50):
        history.perfect_day(n)
    held = [judged for judged in history.judged(history.at(49, EVENING)) if not judged.met]
    assert ["a hold is open" in judged.says for judged in held] == [True]
    history.fact("lift", history.at(49, "20:00"), {"because": "nothing found"})
    assert all(judged.met for judged in history.judged(history.at(49, EVENING)))

"""Measuring out as a keeper types it: stock solutions, parts, steps of tools, the mark, an instruction (issue 5)."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from once_room import OnceRoom, furnish
from typed_room import BOX, Room

from quarantine import formulary

JAR = 'stock add Jar "2 g" --substance praziquantel --form powder --strength "98 %" --lot A12 --expires 2026-08'
STOCK = '--stock "0.5 g in 250 mL"'


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> Path:
    """The hall whose first dose is due, with a jar of 98 % powder: made once."""
    import contextlib
    import io

    from freezegun import freeze_time

    from quarantine.cli.app import run

    class Quiet(OnceRoom):
        def type(self, line: str, code: int = 0, *, who: str = "Robin") -> str:
            import shlex

            with freeze_time(self.now), contextlib.redirect_stdout(io.StringIO()):
                assert run(["--home", str(self.home), *(["--as", who] if who else []), *shlex.split(line)]) == code
            return ""

    room = Quiet(tmp_path_factory.mktemp("measuring") / "home", None)  # type: ignore[arg-type]
    furnish(room).type(JAR)
    return room.home


@pytest.fixture
def hall(built: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> OnceRoom:
    """49.3 L of sea water; 98.6 mg of praziquantel are due, 0.1 g of the 98 % powder on a 0.01 g scale."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    shutil.copytree(built, tmp_path / "home")
    return OnceRoom(tmp_path / "home", capsys)


@pytest.fixture
def soluble(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Praziquantel as if a source gave its solubility: no entry has one."""
    plain = formulary._text

    def told(name: str) -> str:
        figure = 'solubility = { amount = "10 g/L", reference = "S43", status = "READ" }'
        return plain(name).replace('solubility = "unknown"', figure) if name == "praziquantel" else plain(name)

    monkeypatch.setattr(formulary, "_text", told)
    formulary._entry.cache_clear()
    yield
    formulary._entry.cache_clear()


def left(room: OnceRoom) -> dict[str, float]:
    """What each lot has left on record."""
    return {lot["lot"]: lot["left"] for lot in room.json("stock list --all")["lots"]}


def doses(room: OnceRoom) -> list[dict[str, Any]]:
    """All doses on record, oldest first."""
    return Room(room.home, room.capsys).facts("dose")


def test_a_dose_out_of_a_stock_solution_draws_the_powder_that_was_weighed(hall: OnceRoom, soluble: None) -> None:
    """0.5 g of 98 % in 250 mL is 1.96 mg/mL: 98.6 mg are 50.3 mL, so 50.3 x 1.96 = 98.588 mg went into the water, and
    all of the 0.5 g is gone from the jar; 199.7 mL are a rest with a label."""
    code = hall.code()
    said = hall.type(f"done {code} --as-shown {STOCK}")
    assert "50.3 mL of praziquantel given to Q2" in said
    assert "Out of Jar, lot A12: 0.5 g; 1.5 g left." in said
    assert "Out of a stock solution, within 1.5 % by what it was measured with. 199.7 mL are left of it." in said
    assert "Label: Praziquantel, 1.96 mg/mL (98 % (Jar, lot A12, good until 2026-08-31)); made on 2026-02-13" in said
    assert "how long it keeps is not known (no source)" in said
    given = hall.given(code)
    assert (given["mass_mg"], given["given"], given["given_unit"]) == ("98.588", "50.3", "mL")
    assert (given["stock"]["grams"], given["stock"]["millilitres"], given["stock"]["holds"]) == ("0.5", "250", "1.96")
    assert left(hall) == {"A12": 1.5}
    assert "The record is whole" in hall.type("check")


def test_out_of_the_rest_nothing_more_is_drawn(hall: OnceRoom, soluble: None) -> None:
    """The rest is given while its label lets it be; the powder was drawn when it was made."""
    code = hall.code()
    assert "nobody said how long it keeps" in hall.type(f"done {code} --as-shown {STOCK} --from-rest", 1)
    assert "was to be used until 2026-02-12" in hall.type(
        f"done {code} --as-shown {STOCK} --from-rest --keep-until 2026-02-12", 1
    )
    assert left(hall) == {"A12": 2}
    said = hall.type(f"done {code} --as-shown {STOCK} --from-rest --keep-until 2026-02-20")
    assert "Label:" not in said
    assert left(hall) == {"A12": 2}
    given = hall.given(code)
    assert (given["stock"]["rest"], given["stock"]["kept_until"], given["mass_mg"]) == (True, "2026-02-20", "98.588")


def test_a_correction_of_what_was_drawn_leaves_the_powder_as_it_was_weighed(hall: OnceRoom, soluble: None) -> None:
    """48 mL instead of 50.3 mL: 48 x 1.96 = 94.08 mg; the half gram stays weighed."""
    hall.type(f"done {hall.code()} --as-shown {STOCK}")
    entry = hall.json("journal --last 1")["entries"][0]["seal"][:8]
    hall.at("19:05:00").type(f'correct {entry} gave="48 mL" --because "misread"')
    assert doses(hall)[-1]["mass_mg"] == "94.08"
    assert left(hall) == {"A12": 1.5}
    assert "The record is whole" in hall.type("check")


def test_without_a_solubility_it_is_held_and_recorded_only_as_what_really_happened(hall: OnceRoom) -> None:
    """The shipped entry: no stock solution is shown; what was given all the same is recorded with its mass (C7)."""
    code = hall.code()
    assert "no solubility of Praziquantel is on record" in hall.type(f"done {code} --as-shown {STOCK}", 1)
    assert doses(hall) == []
    hall.type(f'done {code} --gave "50 mL" --really {STOCK}')
    assert doses(hall)[0]["mass_mg"] == "98"
    assert doses(hall)[0]["hold"]["rule"] == "C4"
    assert left(hall) == {"A12": 1.5}


@pytest.mark.parametrize(
    ("more", "code", "says"),
    [
        ('--stock "0.5 g"', 1, "write a weight and a volume"),
        ('--stock "1 tsp in 250 mL"', 1, "is not a measure"),
        ('--stock "0 g in 250 mL"', 1, "more than nothing"),
        ('--stock "0.5 g in 1 mL ± 1 mL"', 1, "plus-minus is all of the volume"),
        (f"{STOCK} --keep-until soon", 2, "is not a day"),
        ("--from-rest", 2, "belong to a stock solution"),
        ("--keep-until 2026-02-20", 2, "belong to a stock solution"),
    ],
)
def test_what_does_not_read_is_one_sentence_and_writes_nothing(hall: OnceRoom, more: str, code: int, says: str) -> None:
    """By `done` and by `dose` alike."""
    assert says in hall.type(f"done {hall.code()} --as-shown {more}", code)
    assert says in hall.type(f"dose praziquantel --tank Q2 --regimen Z01 {more}", code)
    assert doses(hall) == []


def test_C10_the_mark_is_asked_at_each_dose(hall: OnceRoom) -> None:
    """The card asks it, and `done` does before the amount is said."""
    assert "Confirm: The water stands at its mark" in hall.type("today")
    refused = hall.type(f"done {hall.code()}", 1)
    assert "--as-shown (shown: 0.1 g)" in refused
    assert "Either says also: The water stands at its mark; if it does not, say so first" in refused


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """49 L of sea water and 49 L of fresh, measured to 0.2 L; a scale with steps of 0.1 g."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = Room(tmp_path / "home", capsys)
    made.type("site add Hall --zone Europe/Berlin")
    made.type("keeper add Robin")
    (made.home / "settings.toml").write_text('scale_step = "0.1 g"\n', encoding="utf-8")
    for name, water in (("M1", "marine"), ("F1", "fresh")):
        made.type(f"tank add {name} --site Hall --role quarantine --water {water} {BOX}")
        made.type(f'tank measure {name} "49 L" --by "counted buckets" --plus-minus "0.2 L"')
    return made


def said(room: Room, line: str, code: int = 0) -> str:
    """What a command prints, on one line."""
    return " ".join(room.type(line, code).split())


def test_the_syringes_step_is_a_setting(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    """2 mg/L x 49 L = 98 mg of a 3 % w/v liquid are 3.2666 mL: 3.2 by 0.1 mL, 3.25 by 0.05 mL, 3 by 0.5 mL."""
    ask = 'dose praziquantel --tank M1 --regimen Z01 --strength "3 % w/v"'
    amounts = {}
    for step in ("0.1 mL", "50 uL", "0.5 mL"):
        monkeypatch.setenv("QUARANTINE_SYRINGE_STEP", step)
        amounts[step] = room.json(ask)["dose"]["add"]
    assert amounts == {"0.1 mL": 3.2, "50 uL": 3.25, "0.5 mL": 3}
    assert "a syringe with steps of 0.5 mL" in said(room, ask)
    for wrong, says in (("1 tsp", "is not a measure"), ("20 measured drops per mL", "drops differ by product")):
        monkeypatch.setenv("QUARANTINE_SYRINGE_STEP", wrong)
        assert says in room.type("today", 1)


def test_drops_are_the_step_of_the_product_they_were_counted_of(room: Room) -> None:
    """25 measured drops in 1 mL are steps of 0.04 mL: 3.2666 mL are 81 of them, 3.24 mL. Unmeasured: refused."""
    add = 'stock add Drops "20 mL" --substance praziquantel --form solution --strength "3 % w/v" --step'
    for wrong, says in (
        ("1 drop", "say that: --step"), ("20 drops per mL", "say that: --step"), ("1 tsp", "is not a measure"),
        ("500 measured drops per mL", "12 to 60 drops"),
    ):  # fmt: skip
        assert says in said(room, f'{add} "{wrong}"', 1)
    room.type(f'{add} "25 measured drops per mL"')
    card = said(room, "dose praziquantel --tank M1 --regimen Z01")
    assert "ADD 3.24 mL of Praziquantel, 3 % w/v (Drops" in card
    assert "(where that step is a drop counted for this product: 81 of its drops, which may be 15 % off" in card


def test_a_drop_that_does_not_end_is_rounded_up_so_that_the_dose_becomes_smaller(room: Room) -> None:
    """22 drops in 1 mL: one is 0.04545..., taken for 0.0455 mL; 71 of them are 3.2305 mL, under 3.2666 mL."""
    room.type(
        'stock add Drops "20 mL" --substance praziquantel --form solution --strength "3 % w/v" '
        '--step "22 measured drops per mL"'
    )
    assert Decimal(str(room.json("dose praziquantel --tank M1 --regimen Z01")["dose"]["add"])) == Decimal("3.2305")


def test_a_standing_instruction_names_the_regimen(hall: OnceRoom) -> None:
    """Of two rows `dose` asks; the one that a veterinarian instructed is taken, and one that is typed goes before."""
    ask = "dose praziquantel --tank Q2"
    assert "name one with --regimen" in hall.type(ask, 1)
    hall.type(
        'vet add Q2-1 --by "a practice" --on 2026-02-13 --regimen Z02 --dose "2 mg/L" --until 2026-03-12 '
        '--words "this way"'
    )
    taken = hall.type(ask)
    assert taken.startswith("Q2, Praziquantel, Z02:")
    assert hall.type(f"{ask} --regimen Z01").startswith("Q2, Praziquantel, Z01:")


class Sumped(OnceRoom):
    """The same hall whose tank has a sump, 199.3 L in all."""

    def type(self, line: str, code: int = 0, *, who: str = "Robin") -> str:
        line = line.replace("tank measure Q2 49.3L", "tank measure Q2 199.3L")
        return super().type(f'{line} --sump "20 L"' if line.startswith("tank add Q2") else line, code, who=who)


def test_C10_a_shared_water_is_dosed_in_parts_on_card_list_and_sheet(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tank and sump: 2 mg/L x 199.3 L = 398.6 mg, down to 0.39 g on a 0.01 g scale: weighed once, poured in three;
    `done` takes the total and nothing else."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    hall = furnish(Sumped(tmp_path / "home", capsys))
    parts = "Shared water: measure 0.39 g once (a part by itself would be under twenty steps)"
    for command in ("dose praziquantel --tank Q2 --regimen Z01", "today", "sheet"):
        text = hall.type(command)
        assert parts in text
        assert "about 0.13 g + 0.13 g + 0.13 g, stirred well before each, at least 10 min apart" in text
    code = hall.code()
    assert "0.13 g is" in hall.type(f'done {code} --gave "0.13 g"', 1)
    hall.type(f"done {code} --as-shown")
    assert doses(hall)[0]["mass_mg"] == "390"

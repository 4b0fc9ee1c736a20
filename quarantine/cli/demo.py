"""The demonstration: an invented community centre's aquarium room, the whole job on a passed-in clock.

Every name in it is invented. Each step prints the command that a keeper would type, and runs the same action.
"""

from __future__ import annotations

import tempfile
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from quarantine.cli import out
from quarantine.cli.session import session
from quarantine.failures import Refused
from quarantine.settings import Home, open_home

if TYPE_CHECKING:
    from quarantine.actions.desk import Desk

FIRST = "Robin"
SECOND = "Noor"
BERLIN, LISBON = "Europe/Berlin", "Europe/Lisbon"
DAY_0 = date(2026, 2, 10)
SIGN_ON, GONE_ON = 9, 11


def demo() -> None:
    home = _place()
    out.say(f"An invented community centre's aquarium room, in {home.path}. Nothing in it is real.")
    room = _Room(home)
    room.build()
    room.arrivals()
    room.first_day()
    room.remaining_days()
    room.release()
    out.say()
    out.say(f"Go on by hand: quarantine --home {home.path} today")


NOTE = "invented.txt"


def _place() -> Home:
    """A new or empty folder: the one named, else a fresh one. A folder with something in it is refused.

    The note is made exclusively: of two demonstrations started at once in one folder, the second is refused.
    """
    option = session().home_option
    home = open_home(option or tempfile.mkdtemp(prefix="quarantine-demo-"))
    wants = "the demonstration wants a new or empty folder: --home DIR"
    try:
        home.path.mkdir(parents=True, exist_ok=True)
        if any(home.path.iterdir()):
            raise Refused(f"{home.path} is not empty; {wants}.")
        with open(home.path / NOTE, "x", encoding="utf-8") as note:
            note.write("This record is a demonstration: every name and number in it is invented.\n")
    except FileExistsError:
        raise Refused(f"{home.path} is a file or a demonstration is running there; {wants}.") from None
    except OSError as error:
        raise Refused(f"{home.path} cannot be used ({error.strerror}); {wants}.") from None
    return home


class _Room:
    """The demonstration under way: its home and its passed-in clock."""

    def __init__(self, home: Home) -> None:
        self.home = home
        self.now = datetime(2026, 2, 10, 7, 0, tzinfo=UTC)
        self.keeper = FIRST

    def at(self, day: int, clock: str, zone: str = BERLIN) -> None:
        hour, minute = clock.split(":")
        moment = datetime.combine(DAY_0 + timedelta(days=day), datetime.min.time(), ZoneInfo(zone))
        self.now = moment.replace(hour=int(hour), minute=int(minute)).astimezone(UTC)

    def desk(self) -> Desk:
        from quarantine.actions.desk import Desk  # late: help and completion need no database

        return Desk(self.home, self.now, self.keeper)

    def typed(self, command: str) -> None:
        out.write(f"$ quarantine {command}")  # never folded: it can be pasted

    def build(self) -> None:
        from quarantine.actions.desk import Desk
        from quarantine.actions.places import add_keeper, add_site, add_tank, measure_tank

        self.heading("Two sites in two zones, two keepers, four tanks")
        for name, zone in (("Hall", BERLIN), ("Annex", LISBON)):
            self.typed(f'site add "{name}" --zone {zone}')
            add_site(Desk(self.home, self.now), name, zone)
        for name in (FIRST, SECOND):
            self.typed(f'keeper add "{name}"')
            add_keeper(Desk(self.home, self.now, FIRST if name == SECOND else ""), name)
        tanks: list[tuple[str, str, str, str, str, dict[str, str | None], str | None]] = [
            ("Q1", "Hall", "quarantine", "fresh", "box",
             {"length": "60 cm", "width": "30 cm", "filled": "32 cm"}, "60 L"),
            ("Round Pool", "Hall", "display", "fresh", "cylinder",
             {"diameter": "80 cm", "filled": "50 cm"}, None),
            ("Q2", "Annex", "quarantine", "marine", "box",
             {"length": "24 in", "width": "12 in", "walls": "1/4 in", "filled": "12 in", "rocks": "2 L"}, "15 USgal"),
            ("Reef", "Annex", "display", "marine", "cylinder",
             {"diameter": "90 cm", "filled": "60 cm", "rocks": "40 kg"}, None),
        ]  # fmt: skip
        for name, site, role, water, shape, measures, label in tanks:
            words = " ".join(f'--{k} "{v}"' for k, v in measures.items())
            tag = f' --label "{label}"' if label else ""
            self.typed(
                f'tank add "{name}" --site {site} --role {role} --water {water} --shape {shape} '
                f"{words}{tag} --as {FIRST}"
            )
            made = add_tank(
                self.desk(), name, site=site, role=role, water=water, shape=shape, measures=measures, label=label
            )
            for line in made["volume"].working:
                out.say(line, 4)
        self.typed('tank measure Q2 49.3L --by "counted buckets" --plus-minus 0.5L --as Robin')
        measure_tank(self.desk(), "Q2", "49.3 L", by="counted buckets", plus_minus="0.5 L", at=None)

    def heading(self, text: str) -> None:
        out.say()
        out.say(f"== {text}")

    def arrivals(self) -> None:
        from quarantine.actions.batches import start_batch

        self.heading("Fish arrive: one batch to watch, one with praziquantel")
        common: list[dict[str, Any]] = [
            {"tank": "Q1", "protocol": "fresh-watch", "arrived": "2026-02-10 14:30",
             "fish": ["12 Melanotaenia praecox, 3 cm"], "source": "a breeder (invented)", "to_tank": "Round Pool"},
            {"tank": "Q2", "protocol": "marine-praziquantel", "arrived": "2026-02-10 12:00",
             "fish": ["4 Centropyge bicolor, 6 cm"], "source": "an importer (invented)", "to_tank": "Reef",
             "acknowledge": True},
        ]  # fmt: skip
        self.at(0, "15:00")
        for batch in common:
            ack = " --acknowledge" if batch.get("acknowledge") else ""
            self.typed(
                f'batch start --tank {batch["tank"]} --protocol {batch["protocol"]} --arrived "{batch["arrived"]}" '
                f'--fish "{batch["fish"][0]}" --from "{batch["source"]}" --to "{batch["to_tank"]}"{ack} --as {FIRST}'
            )
            made = start_batch(self.desk(), **batch)
            out.say(f"Batch {made['batch']}: earliest sign-off {made['earliest']}, {made['tasks']} tasks.", 4)

    def first_day(self) -> None:
        self.day(0)
        self.at(3, "07:30")
        for day in (1, 2):
            self.day(day)
        self.day(3, before_dose=True)

    def day(self, number: int, *, before_dose: bool = False) -> None:
        """One day's ordinary work: look, readings, the changes and doses that are due. Keepers take turns."""
        from quarantine.actions.noting import look, reading

        self.keeper = FIRST if number % 2 == 0 else SECOND
        self.at(number, "18:00" if number == 0 else "17:00")
        signs = ["flashing"] if SIGN_ON <= number < GONE_ON else []
        gone = ["flashing"] if number == GONE_ON else []
        appetite = "" if number == 0 else " 3"
        mark = " --sign flashing" if signs else " --gone flashing --no-signs" if gone else " --no-signs"
        shown = number in (0, 3, SIGN_ON, GONE_ON)
        if shown:
            self.typed(f'look "Q1 12{appetite}"{mark} --as {self.keeper}')
        made = look(self.desk(), f"Q1 12{appetite}", signs=signs, gone=gone, no_signs=not signs)
        if shown and number:
            for line in made.lines:
                out.say(line, 4)
        look(self.desk(), f"Q2 4{appetite}", no_signs=True)
        words = ["temp=25.5C", "ph=7.8", "tan=0.1mg/L", "nitrite_no2=0.1mg/L"]
        reading(self.desk(), "Q1", words)
        made = reading(self.desk(), "Q2", [*words, "oxygen=6.5mg/L", "salinity=34g/L"])
        if number == 3:
            self.typed(f"reading Q2 {' '.join(words)} oxygen=6.5mg/L --as {self.keeper}")
            for line in made.lines:
                out.say(line, 4)
        if before_dose:
            self.acknowledge("Q2-1")
            self.show_list()
        self.tick()

    def acknowledge(self, batch: str) -> None:
        """Who did not start a batch reads its cautions before giving its doses."""
        from quarantine.actions.batches import acknowledge

        self.typed(f"batch acknowledge {batch} --as {self.keeper}")
        made = acknowledge(self.desk(), batch)
        for caution in made["cautions"]:
            out.say(f"Caution: {caution}", 4)

    def show_list(self) -> None:
        from quarantine.actions.today import list_day
        from quarantine.cli.today import lines_of
        from quarantine.records.reads import open_reader

        self.heading(f"Day 3, {DAY_0 + timedelta(days=3)}: today's list")
        self.typed("today")
        with open_reader(self.home.database) as rows:
            for line in lines_of(list_day(rows, self.home, self.now)):
                body = line.lstrip(" ")
                out.say(body, 4 + len(line) - len(body))

    def tick(self) -> None:
        """What is due and not settled by looks and readings: chores, changes, doses."""
        from quarantine.actions.today import list_day
        from quarantine.actions.work import done
        from quarantine.records.reads import open_reader

        with open_reader(self.home.database) as rows:
            listed = list_day(rows, self.home, self.now)
        for item in listed.tasks:
            if item.section not in ("due", "overdue") or item.row["kind"] in ("look", "feed", "test"):
                continue
            amount = item.row["kind"] in ("dose", "change")
            made = done(self.desk(), [item.row["code"]], as_shown=amount)
            if item.row["kind"] == "dose":
                self.typed(f"done {item.row['code']} --as-shown --as {self.keeper}")
                out.say(f"{made[0]['says']}, {made[0]['local']}", 4)

    def remaining_days(self) -> None:
        from quarantine.actions.exporting import write_calendar
        from quarantine.actions.signing import sign

        self.heading("Reminders on a phone")
        path = self.home.path / "quarantine.ics"
        self.typed(f"calendar write {path} --as {self.keeper}")
        made = write_calendar(self.desk(), path)
        out.say(f"{made['entries']} entries", 4)
        self.heading("Asked too early")
        self.typed(f"signoff Q1-1 --release --as {self.keeper}")
        try:
            sign(self.desk(), "Q1-1", release=True)
        except Refused as refusal:
            out.say(f"Refused: {refusal.sentence}", 4)
            for line in refusal.lines:
                out.say_indented(f"    {line}")
        self.heading(
            f"The remaining days on a passed-in clock; a sign on day {SIGN_ON}, {DAY_0 + timedelta(days=SIGN_ON)}"
        )
        from rich.console import Console
        from rich.progress import track

        for number in track(range(4, 31), "days", console=Console(stderr=True), transient=True):
            self.day(number)

    def release(self) -> None:
        from quarantine.actions.signing import sign

        self.heading("Release")
        for name in ("Q1-1", "Q2-1"):
            self.typed(f"signoff {name} --release --as {self.keeper}")
            made = sign(self.desk(), name, release=True)
            out.say(f"{name}: {made['decision']}. Seal {made['seal'][:16]}.", 4)
            for criterion in made["criteria"]:
                out.say(f"{criterion['verdict']}: {criterion['title']}: {criterion['says']}", 6)

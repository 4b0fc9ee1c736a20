"""A room of twelve fish under the template of white spot, for the tests of what waits and what ends."""

from __future__ import annotations

from once_room import OnceRoom, remembered

FRESH = "temp=24C ph=7.2 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=6.5mg/L"
STRENGTH = "--strength '37 % formaldehyde'"
BOX = '--shape box --length "60 cm" --width "30 cm" --filled "30 cm"'


def spots(room: OnceRoom) -> OnceRoom:
    """100 L, twelve fish on day 4 under the template of white spot, looked at and tested every day; no sign."""
    return remembered(room, _spots).at("2026-03-06 16:00:00")


def _spots(room: OnceRoom, _: str) -> None:
    room.at("2026-03-02 09:00:00")
    room.type("site add Hall --zone Europe/Berlin", who="")
    room.type("keeper add Robin", who="")
    for name, role in (("Q1", "quarantine"), ("Show", "display")):
        room.type(f"tank add {name} --site Hall --role {role} --water fresh {BOX}")
    room.type("tank measure Q1 100L --by buckets --plus-minus 1L --really")
    room.type(
        'batch start --tank Q1 --protocol fresh-white-spot --arrived "2026-03-02 09:30" --acknowledge --yes '
        '--fish "12 Melanotaenia praecox, 4 cm" --from "an importer" --to Show'
    )
    for day in (2, 3, 4, 5, 6):
        room.at(f"2026-03-0{day} 16:00:00")
        room.type(f'look "Q1 12{"" if day == 2 else " 3"}" --no-signs')
        room.type(f"reading Q1 {FRESH}")


def dose(room: OnceRoom) -> str:
    """The code of the first dose; a sign that it hangs on gives it another one."""
    tasks = room.json("batch show Q1-1")["tasks"]
    open_ = [t for t in tasks if t["state"] == "planned"]
    return str(next(t["code"] for t in open_ if t["title"].startswith("Formalin against white spot (1")))

"""A school with a teacher, a colleague and a pupil, for the tests of absences, terms and roles."""

from __future__ import annotations

from once_room import OnceRoom

BOX = '--shape box --length "60 cm" --width "30 cm" --filled "30 cm"'
FISH = '--fish "12 Melanotaenia praecox, 3 cm" --from "a breeder" --to Pond'
WEEKENDS = "site closed School 2026-03-01 2026-06-30 --weekdays sat,sun --what weekend"


def school(room: OnceRoom, at: str = "2026-03-02 08:00:00") -> OnceRoom:
    """One site, an empty quarantine tank, three keepers; Kim is a pupil. It is Monday, 09:00 in Berlin."""
    room.at(at)
    room.type("site add School --zone Europe/Berlin", who="")
    room.type("keeper add Robin", who="")
    for keeper in ("Noor", "Kim"):
        room.type(f"keeper add {keeper}")
    for name, role in (("Q1", "quarantine"), ("Pond", "display")):
        room.type(f"tank add {name} --site School --role {role} --water fresh {BOX}")
    room.type("keeper role Kim pupil")
    return room


def arrive(room: OnceRoom, more: str = "", protocol: str = "fresh-school-watch", code: int = 0) -> str:
    """Fish come now."""
    local = f"{room.now[:10]} 08:30"
    return room.type(f'batch start --tank Q1 --protocol {protocol} --arrived "{local}" {FISH} {more}', code)

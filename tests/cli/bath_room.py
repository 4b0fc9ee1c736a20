"""Templates made for tests of timed baths: a shipped watch with one bath in it, behind the gate of rule C8.

No shipped template has a timed bath. The figures of the baths are the formulary's; the templates are nobody's advice.
"""

from __future__ import annotations

from quarantine.templates import shipped

GATE = """
[[step.before]]
day = 3
reference = "S4"

[[step.before]]
ate = 2
reference = "S4"

[[step.before]]
no_sign = "A"
reference = "S4"

[[step.before]]
reading = "uia"
max = "0.05 mg/L"
within = "24 h"
reference = "S4"

[[step.before]]
reading = "nitrite"
max = "0.2 mg/L"
within = "24 h"
reference = "S4"

[[step.before]]
steady = "temperature"
min = "24 °C"
max = "27 °C"
within = "24 h"
reference = "S4"

[[step.before]]
reading = "oxygen"
min = "5 mg/L"
within = "24 h"
or_word = "Strong aeration is running"
reference = "S4"
"""

STEP = """
[[step]]
id = "bath"
kind = "dose"
title = "Bath of {regimen}"
for = "system"
start = {{ arrival = "3 d" }}
window = {{ from = "08:00", until = "20:00" }}
after_window = "shift"
who = "adult"
note = "Made for a test."
references = ["S4"]

[step.treatment]
regimen = "{regimen}"
mode = "{mode}"
water = "system"
filter = "running"
{more}
"""

CHORE = """
[[step]]
id = "after"
kind = "chore"
title = "{title}"
start = {{ after = "bath" }}
references = ["S4"]
"""

CAUTIONS = 'water = "fresh"\ncautions = ["Made for a test: levamisole is for a veterinarian."]\n'


def template(regimen: str = "N01", mode: str = "as published", more: str = "", chore: str = "") -> str:
    """The text of a fresh watch with one bath of a regimen on day 3, and a chore of that title after it."""
    text = shipped()["fresh-watch"].read_text(encoding="utf-8").replace('water = "fresh"\n', CAUTIONS, 1)
    text = text.replace('id = "fresh-watch"', 'id = "bath-watch"', 1)
    return (
        text + STEP.format(regimen=regimen, mode=mode, more=more) + GATE + (CHORE.format(title=chore) if chore else "")
    )

"""Clinical signs a keeper may see, and how urgent each is.

A: act now. B: same day; the clear count restarts. C: watch; the clear count pauses, and beyond 48 hours C is B.
The severities are a proposal built on the sources in the right-hand column, not a published scale
(where no source is named: from memory of veterinary teaching). Rule A5.
"""

from __future__ import annotations

from typing import NamedTuple


class Sign(NamedTuple):
    """One sign: name, severity A, B or C, what it looks like, and the source."""

    name: str
    severity: str
    says: str
    reference: str = "from memory"


_SIGNS = (
    Sign("flashing", "B", "rubs or flicks itself against things"),
    Sign("gasping", "A", "gasps at the surface"),
    Sign("fast breathing", "B", "gill covers beat fast, or one stays shut"),
    Sign("clamped fins", "B", "fins held against the body"),
    Sign("listless", "B", "sits on the bottom or apart from the others"),
    Sign("spinning", "A", "whirls, spirals, loses balance"),
    Sign("buoyancy", "B", "floats, sinks or hangs head down"),
    Sign("darting", "A", "darts or jumps in fright"),
    Sign("off food", "C", "does not eat"),
    Sign("spitting", "C", "takes food and spits it out"),
    Sign(
        "white spots",
        "B",
        "white salt-like spots of a millimetre or less",
        "Univ. of Florida IFAS EDIS, Ichthyophthirius multifiliis infections in fish, CIR920",
    ),
    Sign("dust", "A", "gold or rust dust on the skin, seen with a torch at a low angle"),
    Sign("slime", "B", "grey-white film, too much mucus"),
    Sign("cotton tufts", "B", "tufts like cotton wool"),
    Sign("ulcer", "B", "red sore or hole"),
    Sign("red streaks", "A", "red streaks in fins or belly"),
    Sign("raised scales", "A", "scales stand up like a pine cone"),
    Sign("visible worm", "B", "a thread or a disc on the skin"),
    Sign("pale patches", "A", "pale patches, sunken eyes, mottled gills (koi: a notifiable virus is possible)"),
    Sign("fin rot", "B", "frayed fins with white edges"),
    Sign(
        "cloudy eye",
        "B",
        "the eye is cloudy (marine fish: flukes are possible)",
        "Rev. Bras. Parasitol. Vet., Neobenedenia melleni in ornamental reef fish imported to Brazil, 2019",
    ),
    Sign("pop eye", "B", "the eye stands out"),
    Sign("pale gills", "A", "gills pale or brown"),
    Sign("red threads", "B", "red threads from the vent"),
    Sign("stringy faeces", "C", "white, stringy faeces"),
    Sign("pinched belly", "C", "hollow belly, knife back"),
    Sign("swollen belly", "C", "swollen belly without raised scales"),
    Sign("colour", "C", "darkens, fades or shows bars"),
    Sign("bent spine", "B", "a spine that was straight is bent"),
)
SIGNS = {sign.name: sign for sign in _SIGNS}

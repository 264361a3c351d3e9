"""Why a place is hard, what an amplifier does there, a plan's remarks: sentence, mark and code."""

CAUSE_WORDS = {
    "ridges": "hills in the way",
    "earth_bulge": "the curve of the earth",
    "distance": "distance",
    "clutter": "trees and buildings near the antenna",
    "noise": "noise from outside, around the antenna",
    "same_channel": "another transmitter on the same channel",
    "next_channel": "a strong transmitter on the next channel",
    "overload": "signals so strong that they overload the amplifier or the set",
    "pattern_null": "a weak direction of the transmitter's antenna",
}
CAUSE_MARKS = {  # the same in a word, as it stands on the map
    "ridges": "hills",
    "earth_bulge": "earth's curve",
    "distance": "distance",
    "clutter": "trees",
    "noise": "noise",
    "same_channel": "same channel",
    "next_channel": "next channel",
    "overload": "too strong",
    "pattern_null": "pattern",
}
AMPLIFIER_WORDS = {
    1: "A masthead amplifier helps here.",
    2: "A masthead amplifier does nothing here: noise from outside decides.",
    3: "A masthead amplifier does harm here without a filter: strong signals overload it.",
}
PLAN_NOTES = (
    (1, "Needs a filter before the amplifier or the set."),
    (2, "Strong signals may overload the amplifier or the set."),
    (4, "Good by day, but it may be lost on nights when far transmitters carry."),
    (8, "High VHF needs an antenna of its own."),
    (16, "The two antennas join through a diplexer, one for each band."),
    (32, "Mount the antenna upright, for vertical polarization."),
    (64, "The path of an interfering transmitter was taken over smooth earth."),
)

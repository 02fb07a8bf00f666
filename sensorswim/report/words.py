"""The report's fixed words: cautions, limits, camera views, definitions."""

from __future__ import annotations

from typing import Final

from sensorswim.model.placement import Limb

CAUTIONS: Final = (
    "Never swim alone, and never without somebody who watches and can help.",
    "No sets of holding the breath, and no contests in it: fainting under water comes without "
    "warning.",
    "Pain ends the session. Pain that stays or comes back is a matter for a clinician, not for "
    "this report.",
    "Filming in a pool needs the pool's leave; filming minors also needs the consent of those "
    "who care for them. Keep to the pool's rules on cameras and on things worn in the water.",
    "Local rules and the qualified people at the pool come first.",
    "This report measures. It does not diagnose, and it does not rank swimmers.",
)

BLIND_SPOTS: Final = (
    (
        "When the exhale starts, and how long it lasts",
        "side, under water: the bubbles at mouth and nose",
    ),
    (
        "What the shoulder blade does while the arm reaches and pulls",
        "rear and side, under water: the shoulder line at the reach",
    ),
    (
        "How tense the trunk is, and whether the hips sag",
        "side, under water: the line from shoulder to hip to ankle",
    ),
    (
        "The gap between the knees, and whether the legs cross",
        "rear, under water: both knees and feet; front for the knees",
    ),
    (
        "Where the hand enters: before the shoulder or across the middle",
        "front, under water, and below: both hands against the body's middle line",
    ),
)
"""What these sensors can't see, and the camera view that shows it."""

SENSOR_ADDS: Final[dict[Limb, str]] = {
    Limb.WRIST: "the arm strokes: their rate, their phases and how the arms take over",
    Limb.ANKLE: "the kicks and their rhythm, and an estimate of the roll",
    Limb.LOWER_BACK: "the roll of the hips, measured instead of estimated from the ankles",
    Limb.UPPER_BACK: "the roll of the shoulders, the one that breathing turns on",
    Limb.HEAD: "the turn of the head itself, so breaths are seen and not inferred from the roll",
    Limb.UPPER_ARM: "the elbow angle, measured instead of worked out from the wrist",
}

DEFINITIONS: Final = (
    ("Length", "measured", "From the push-off to the touch, or to the feet on the wall."),
    (
        "Speed",
        "measured",
        "The length's distance over its whole time, push-off and glide included.",
    ),
    (
        "Stroke rate",
        "measured",
        "Cycles a minute, from one entry of a hand to its next, both hands. A cycle is two arm "
        "strokes.",
    ),
    (
        "Stroke length",
        "worked out",
        "Metres a cycle of clean swimming, without the push-off: clean speed over stroke rate.",
    ),
    ("Kick", "measured", "One downbeat of one leg: the moment the shank swings down fastest."),
    (
        "Kick rhythm (beat)",
        "worked out",
        "Whichever of 2, 4 or 6 kicks a cycle most cycles of the length are nearest to; “none” "
        "where fewer than 60 of 100 cycles agree.",
    ),
    (
        "Roll",
        "measured on the back; an estimate from the ankles",
        "How far the trunk turns about its long axis; 0 is flat on the front. Rolling onto the "
        "right side lifts the left side, where the face can turn to the left. From the ankles it "
        "follows the hips: smaller and a little later.",
    ),
    (
        "Time on the side",
        "worked out",
        "How long the roll stays beyond half of the swimmer's own typical peak without a breath.",
    ),
    (
        "Breath",
        "seen by a head sensor; else inferred from the roll",
        "A roll that is held longer, or goes further, than the swimmer's other rolls. Each has a "
        "confidence in the tables.",
    ),
    (
        "Catch, mid-pull, exit",
        "worked out from the wrist",
        "Catch: the wrist starts to move backwards through the pool. Mid-pull: it passes the "
        "plane of the shoulder. Exit: it leaves the water.",
    ),
    (
        "Elbow angle",
        "measured with an upper-arm sensor; else an estimate",
        "At mid-pull, 180 degrees is a straight arm. From the wrist alone, changes are surer than "
        "the level.",
    ),
    (
        "Index of coordination",
        "worked out",
        "The time between one arm's exit and the other's next catch, in percent of the cycle. "
        "Below 0 there is a gap in propulsion, at 0 one arm takes over exactly, above 0 they "
        "overlap (Chollet, Chalies and Chatard 2000).",
    ),
)

SEVERITY_WORDS: Final = {
    "note": "worth knowing",
    "degraded": "less sure",
    "lost": "missing",
}

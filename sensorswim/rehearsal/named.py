"""Rehearsals by the names that the command line takes."""

from __future__ import annotations

import numpy as np

from sensorswim.errors import InputError
from sensorswim.rehearsal.draw import KITS, draw_plan, draw_swim
from sensorswim.rehearsal.samples import SAMPLES
from sensorswim.rehearsal.settings import Kit
from sensorswim.rehearsal.simulate import Rehearsal, rehearse
from sensorswim.rehearsal.swimmers import swimmers

SAMPLE = "sample"
DRAWN = "drawn"
"""The name of a swimmer, a session and logs drawn over the whole range."""


def rehearse_named(name: str, *, kit: str = "core", seed: int = 2026) -> Rehearsal:
    """Simulate a sample session, a drawn one, or random lengths of a named invented swimmer.

    Raises
    ------
    InputError
        A swimmer or a kit that isn't known.
    """
    if kit not in KITS:
        raise InputError(f"no kit {kit!r}", mend=f"use one of {', '.join(KITS)}")
    if name in SAMPLES:
        return SAMPLES[name](placements=KITS[kit], seed=seed)
    if name == DRAWN:
        return draw_swim(seed, kit=kit)
    if name not in swimmers:
        known = ", ".join([*SAMPLES, *swimmers, DRAWN])
        raise InputError(f"no swimmer {name!r}", mend=f"use one of {known}")
    plan = draw_plan(np.random.default_rng(seed))
    worn = Kit(placements=KITS[kit], clock_offset_s=40.0)
    return rehearse(plan, swimmer=swimmers[name], kit=worn, seed=seed)

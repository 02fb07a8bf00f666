"""Clocks from the push-offs that the whole kit shares, once the rough ones are known.

The wrists come first, then trunk and head, the upper arms, the feet: each is held against all that
are known by then. A rough clock may be that of another stroke, so push-offs that end in a glide are
looked for seconds around it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from sensorswim.model import Limb, Placement
from sensorswim.model.streams import FloatArray
from sensorswim.signal.pushes import Travel
from sensorswim.signal.shakes import Moved
from sensorswim.signal.starts import (
    AGREE_S,
    FEET_SPREAD_S,
    STARTS_FLOOR_S,
    Starts,
    body_starts_s,
    feet_starts_s,
    glide_starts,
    largest_set,
    pushed_off_s,
    shared_starts,
    together_offset,
)
from sensorswim.signal.views import Sensor

_ORDER: Final = (
    Limb.WRIST,
    Limb.UPPER_BACK,
    Limb.HEAD,
    Limb.LOWER_BACK,
    Limb.UPPER_ARM,
    Limb.ANKLE,
)
_NO_ANCHORS: Final = (Limb.ANKLE, Limb.UPPER_ARM)
"""The feet leave the wall later than the body; one upper arm is much like the other one half a
cycle away, and calm for longer than a wrist."""

_NEAR_S: Final = 0.15
_STROKES_S: Final = 6.0
_STROKES: Final = 3
"""More than so many within so long before and after are strokes."""
_TWICE: Final = 2
"""So many times as many push-offs among many strokes beat those that end in a glide."""
_MANY: Final = 4
"""So many times as many push-offs that two sensors of a limb share near by beat those that end in a
glide."""
_CHANCE_S: Final = 0.4
"""A single push-off that asks a sure clock for more than this is another movement."""
_ALIKE_S: Final = 0.35
"""By how much movement alone may put all that is above the hips off alike: the feet leave last."""
_KICKS_S: Final = 8.0
"""Soft starts that mostly follow each other so soon are kicks: push-offs lie a length apart."""
_SOFT: Final = 3
"""So many soft push-offs of both feet that agree set a clock that isn't sure."""
_SESSION: Final = Moved(middle_s=0.0, level_s=0.0, level_error_s=0.0, floor_s=0.0, sure=True)


@dataclass(frozen=True, kw_only=True)
class _Known:
    """A sensor and its clock."""

    travel: Travel
    moved: Moved

    def offset_s(self, own_s: FloatArray) -> FloatArray:
        """Return what is to be added to moments of its clock (K,) to read the session's."""
        return self.moved.level_s + self.moved.drift * (own_s - self.moved.middle_s)


def set_by_starts(
    placed: Mapping[Placement, Sensor],
    free: Mapping[Placement, Sensor],
    rough: Mapping[Placement, Moved],
) -> dict[Placement, Moved]:
    """Return the clocks of all rough ones, at the push-offs where these tell them.

    Parameters
    ----------
    placed : mapping
        Sensors in session time.
    free : mapping
        Those of the rough clocks.
    rough : mapping
        Clocks to within some seconds.
    """
    known = {p: _Known(travel=s.travel, moved=_SESSION) for p, s in placed.items()}
    told: dict[Placement, Moved] = {}
    if all(p.limb in _NO_ANCHORS for p in placed):
        told, rough = _above_a_foot(placed, free, rough)
        known |= {p: _Known(travel=free[p].travel, moved=m) for p, m in told.items()}
    left = sorted(rough.keys() - told.keys(), key=_in_order)
    for place in left:
        if place.limb is not Limb.ANKLE:
            one = _Known(travel=free[place].travel, moved=rough[place])
            told[place] = _above_the_hips(one, known)
            known[place] = replace(one, moved=told[place])
    feet = {p: _Known(travel=free[p].travel, moved=rough[p]) for p in left if p.limb is Limb.ANKLE}
    return told | _feet(feet, known)


def _in_order(place: Placement) -> tuple[int, str]:
    return _ORDER.index(place.limb), place.value


def _above_a_foot(
    placed: Mapping[Placement, Sensor],
    free: Mapping[Placement, Sensor],
    rough: Mapping[Placement, Moved],
) -> tuple[dict[Placement, Moved], Mapping[Placement, Moved]]:
    """Return the clocks above the hips where session time is that of a foot or an upper arm.

    One of them leads the others; all are moved together to where the push-offs that they share
    put the sensor whose clock is the session's. With them come the rough clocks, those of upper
    arms moved along.
    """
    upper = sorted((p for p in rough if p.limb not in _NO_ANCHORS), key=_in_order)
    if not upper:
        return {}, rough
    lead, *others = upper
    known = {lead: _Known(travel=free[lead].travel, moved=replace(rough[lead], sure=True))}
    for place in others:
        one = _Known(travel=free[place].travel, moved=rough[place])
        known[place] = replace(one, moved=_above_the_hips(one, known))
    place, sensor = next(iter(placed.items()))
    here = _Known(
        travel=sensor.travel,
        moved=replace(rough[lead], middle_s=sensor.middle_s, level_s=0.0, drift=0.0),
    )
    by_feet = place.limb is Limb.ANKLE
    own = _by_feet(here, None, known, _body_s(known)) if by_feet else _above_the_hips(here, known)
    told = {lead: replace(own, middle_s=rough[lead].middle_s, drift=rough[lead].drift,
                          level_s=rough[lead].level_s - own.level_s)}  # fmt: skip
    alike = own is not here.moved and abs(own.level_s) < _ALIKE_S
    for place in others:
        moved = known[place].moved
        led = moved is not rough[place]
        told[place] = _moved_along(moved, own) if led or alike else moved
    arms = {p: _moved_along(m, own) for p, m in rough.items() if p.limb is Limb.UPPER_ARM and alike}
    return told, {**rough, **arms}


def _moved_along(moved: Moved, lead: Moved) -> Moved:
    """Return a clock that is known against a lead's, where that was `lead.level_s` ahead."""
    return replace(
        moved,
        level_s=moved.level_s - lead.level_s,
        level_error_s=float(np.hypot(moved.level_error_s, lead.level_error_s)),
        floor_s=float(np.hypot(moved.floor_s, lead.floor_s)),
        sure=moved.sure and lead.sure,
    )


def _above_the_hips(one: _Known, known: Mapping[Placement, _Known]) -> Moved:
    """Return the clock of a sensor that shares the body's push-offs with those known.

    Those that end in a glide count most, but for a few that ask for another offset than more of
    all those near by do.
    """
    others = [k for p, k in known.items() if p.limb not in _NO_ANCHORS and k.moved.sure]
    if not others:
        return one.moved
    far_s = [_asked_s(glide_starts(o.travel, one.travel, _apart_s(o, one)), o, one) for o in others]
    by = np.repeat(np.arange(len(far_s)), [len(asked_s) for asked_s in far_s])
    level_s = largest_set(np.concatenate(far_s), AGREE_S, one.moved.level_s, by)
    twin = next((o for o in others if o.travel.limb is one.travel.limb), None)
    near_s, votes_s, strokes = _near_s(one, twin or others[0])
    if strokes and len(votes_s) <= _TWICE * len(level_s):
        votes_s = votes_s[:0]
    as_many = one.moved.sure and len(votes_s) == len(level_s) > 1
    glides = max(int(np.isin(own_s, level_s).sum()) for own_s in far_s)
    if twin is not None and len(votes_s) > _MANY * glides:
        level_s = votes_s[:0]
    if len(level_s) and not as_many and not _outvoted(level_s, votes_s):
        return _at(one.moved, level_s, STARTS_FLOOR_S)
    return _sharper(one.moved, near_s, STARTS_FLOOR_S)


def _near_s(one: _Known, other: _Known) -> tuple[FloatArray, FloatArray, bool]:
    """Return what push-offs near the rough clock ask for, (K,), empty where too few agree.

    With it come those (J,) that lie apart, as strokes don't, and whether most are strokes. These
    agree half a cycle away as well.
    """
    starts = shared_starts(other.travel, one.travel, _apart_s(other, one))
    asked_s = _asked_s(starts, other, one)
    if not len(asked_s):
        return asked_s, asked_s, False
    near = np.abs(starts.moments_s[:, None] - starts.moments_s) < _STROKES_S
    many = near.sum(axis=1) > _STROKES
    strokes = (near & many).any(axis=1)
    agreed = np.abs(asked_s - np.median(asked_s)) < AGREE_S
    if 3 * agreed.sum() <= 2 * len(asked_s):
        agreed[:] = False
    mostly = bool(2 * many[agreed].sum() > agreed.sum())
    return asked_s[agreed], asked_s[agreed & ~strokes if mostly else agreed], mostly


def _outvoted(level_s: FloatArray, near_s: FloatArray) -> bool:
    """Tell whether more push-offs ask for another offset than these."""
    return len(near_s) > len(level_s) and _apart(level_s, near_s)


def _apart(level_s: FloatArray, near_s: FloatArray) -> bool:
    """Tell whether both ask for an offset, and for another one."""
    some = len(level_s) > 0 and len(near_s) > 0
    return some and bool(abs(np.median(near_s) - np.median(level_s)) > _NEAR_S)


def _apart_s(other: _Known, one: _Known) -> float:
    """Return the rough offset of one clock against another."""
    return one.moved.level_s - other.moved.level_s


def _asked_s(starts: Starts, other: _Known, one: _Known) -> FloatArray:
    """Return what push-offs ask for, (K,), at the middle of the one clock."""
    there_s = starts.moments_s + starts.offsets_s
    drifted_s = one.moved.drift * (starts.moments_s - one.moved.middle_s)
    return starts.offsets_s + other.offset_s(there_s) - drifted_s


def _feet(
    rough: Mapping[Placement, _Known], known: Mapping[Placement, _Known]
) -> dict[Placement, Moved]:
    """Return the ankles' clocks: first that of which more push-offs tell, with it the other's.

    What moves the one moves the other along, if they are sure of each other.
    """
    told: dict[Placement, Moved] = {}
    body_s = _body_s(known)
    for place in sorted(rough, key=lambda p: (-len(_with_body(rough[p], body_s)), p.value)):
        one, pair = rough[place], next((p for p in rough if p is not place), None)
        other = None if pair is None else rough[pair]
        if pair in told:
            shift_s = told[pair].level_s - rough[pair].moved.level_s
            other = replace(rough[pair], moved=told[pair])
            if one.moved.paired:
                moved = replace(one.moved, level_s=one.moved.level_s + shift_s)
                one = replace(one, moved=moved)
            known = {**known, pair: other}
        told[place] = _by_feet(one, other, known, body_s)
    return told


def _with_body(one: _Known, body_s: FloatArray) -> FloatArray:
    """Return what an ankle's push-offs that the body shares ask for, (K,)."""
    own_s, moved = pushed_off_s(one.travel), one.moved
    return together_offset(body_s, own_s, moved.level_s, moved.drift, moved.middle_s)


def _by_feet(
    one: _Known, pair: _Known | None, known: Mapping[Placement, _Known], body_s: FloatArray
) -> Moved:
    """Return an ankle's clock from the other's, else from the push-offs shared with the wrists.

    How early the feet leave differs from one swimmer to the next, whatever the number. Soft
    push-offs count where several agree, the other ankle's on its rough clock (`pair`) included; one
    of the body's alone moves a sure clock by a part.
    """
    moved, rough = one.moved, (one.moved.level_s, one.moved.drift, one.moved.middle_s)
    for other in (k for p, k in known.items() if p.limb is Limb.ANKLE and k.moved.sure):
        by_other = _by_other_foot(replace(one, moved=moved), other)
        if by_other is not None:
            return by_other
        moved = replace(moved, sure=moved.sure and not moved.paired)
    own_s, soft_s = (pushed_off_s(one.travel, faint=faint) for faint in (False, True))
    level_s = together_offset(body_s, own_s, *rough)
    floor_s = float(np.hypot(moved.floor_s, FEET_SPREAD_S))
    near_s = together_offset(body_s, soft_s, *rough, near=True)
    if len(level_s) == 1 and moved.sure and abs(level_s[0] - moved.level_s) > _CHANCE_S:
        level_s = level_s[:0]
    both_s = soft_s if pair is None else np.append(soft_s, _feet_on(one, pair))
    agreed_s = together_offset(body_s, both_s, *rough, near=True)
    soft = len(near_s) if moved.sure else len(agreed_s) * _apart(level_s, near_s)
    if len(level_s) and soft <= len(level_s):
        return _sharper(moved, level_s, floor_s)
    if len(near_s) == 1 and moved.sure:
        return _between(moved, float(near_s[0]))
    if len(near_s) and len(agreed_s) > 1:
        return _at(moved, near_s, floor_s)
    if moved.sure:
        return moved
    far_s = together_offset(body_s, both_s, *rough)
    return _at(moved, far_s, floor_s) if len(far_s) >= _SOFT else moved


def _between(moved: Moved, level_s: float) -> Moved:
    """Return a sure clock moved towards what a single soft push-off asks for, as far as it errs.

    How sure it is stays as it was: one swimmer's feet all leave as early.
    """
    own = moved.level_error_s**2 + moved.floor_s**2
    share = own / (own + FEET_SPREAD_S**2)
    return replace(moved, level_s=moved.level_s + share * (level_s - moved.level_s))


def _by_other_foot(one: _Known, other: _Known) -> Moved | None:
    """Return an ankle's clock from the push-offs shared with the other's, None where none tell."""
    moved, rough = one.moved, (one.moved.level_s, one.moved.drift, one.moved.middle_s)
    own_s, soft_s = (feet_starts_s(one.travel, faint=faint) for faint in (False, True))
    feet_s, faint_s = (
        _in_session_time(feet_starts_s(other.travel, faint=faint), other) for faint in (False, True)
    )
    level_s = together_offset(feet_s, own_s, *rough)
    near_s = together_offset(faint_s, soft_s, *rough, near=True)
    floor_s = float(np.hypot(STARTS_FLOOR_S, other.moved.floor_s))
    votes = len(near_s) + moved.paired if _apart(level_s, near_s) else 0
    kicks = len(soft_s) > 1 and bool(np.median(np.diff(soft_s)) < _KICKS_S)
    borne_out = kicks and moved.paired and not _apart(level_s, np.array([moved.level_s]))
    if len(level_s) > 1 and (borne_out or votes <= len(level_s)):
        return _at(moved, level_s, floor_s)
    if len(near_s) >= _SOFT:
        return _at(moved, near_s, floor_s)
    compared = min(len(faint_s), len(soft_s)) >= _SOFT
    if moved.paired and (len(near_s) or not compared):
        return replace(moved, floor_s=floor_s, sure=True)
    return None


def _feet_on(one: _Known, pair: _Known) -> FloatArray:
    """Return the soft push-offs of the other foot (K,) on the one foot's clock."""
    feet_s = pushed_off_s(pair.travel, faint=True)
    session_s = _in_session_time(feet_s, pair)
    return session_s - one.offset_s(session_s - one.moved.level_s)


def _in_session_time(own_s: FloatArray, known: _Known) -> FloatArray:
    return own_s + known.offset_s(own_s)


def _body_s(known: Mapping[Placement, _Known]) -> FloatArray:
    """Return the body's push-offs after a rest in session time, by both wrists."""
    wrists = [k for p, k in known.items() if p.limb is Limb.WRIST]
    if len(wrists) < 2:
        return np.empty(0)
    first, second = (replace(k.travel, start_s=k.travel.start_s + k.moved.level_s) for k in wrists)
    starts = shared_starts(first, second, 0.0, rested=False)
    return body_starts_s(first, second, starts.moments_s + starts.offsets_s)


def _sharper(moved: Moved, level_s: FloatArray, floor_s: float) -> Moved:
    """Return the clock at the offset that push-offs out of rest ask for.

    A single one is better than the movement's, but sure only where that is close by.
    """
    if not len(level_s):
        return moved
    middle_s = float(np.median(level_s))
    if len(level_s) == 1 and not (moved.sure and abs(middle_s - moved.level_s) < _NEAR_S):
        return replace(moved, level_s=middle_s, sure=False)
    return _at(moved, level_s, floor_s)


def _at(moved: Moved, level_s: FloatArray, floor_s: float) -> Moved:
    """Return the clock at the median of what push-offs ask for, at least one."""
    return replace(
        moved,
        level_s=float(np.median(level_s)),
        level_error_s=max(float(np.std(level_s)), STARTS_FLOOR_S) / np.sqrt(len(level_s)),
        floor_s=floor_s,
        sure=True,
    )

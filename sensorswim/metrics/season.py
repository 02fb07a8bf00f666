"""The figures that visits are compared by, length by length, and what makes lengths alike.

Thresholds that move with a session (half of its own typical roll) stand beside fixed ones, and
time on the side is taken over all half cycles, breathing or not, with the share that could be
told: a swimmer whose breaths no longer stand out stays in the picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from sensorswim.metrics.change import visit_of
from sensorswim.metrics.own_rolls import reference_sides
from sensorswim.swim.breaths import FIXED_DEG

CHECK_SET: Final = "check set"
"""A block whose label begins with these words is the check set: the same at every visit."""
UNFINISHED: Final = "unfinished"
_ROLL_RATE_HZ: Final = 50.0


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One figure that visits are compared by.

    Parameters
    ----------
    name : str
        Column of `season_lengths`.
    words, unit : str
        As a coach reads them.
    digits : int
        Decimals shown.
    between_sd : float
        Cautious spread between visits until repeated visits are there, in the figure's unit
        (our choice, no source).
    source : str
        Column that says which sensor the figure rests on, "" where it doesn't matter.
    follows_speed : bool
        Whether a faster set moves it (Craig & Pendergast 1979; Psycharakis & Sanders 2008).
    """

    name: str
    words: str
    unit: str
    digits: int
    between_sd: float
    source: str = ""
    follows_speed: bool = True


_ROLL: Final = "roll_source"
_ELBOW: Final = "elbow_source"
_EXCESS: Final = "excess_source"
_OTHER_ROLLS: Final = ", against rolls to the other side"
"""Of a breath that no roll to its own side without one could be held against."""
_ELBOW_BETWEEN_DEG: Final = 6.0
"""Less than the error of the level, most of which comes again at each visit. Synthetic swimmers
whose straps were put on anew differed by 3.6 degrees, nine of ten by less than 6."""


def _figure(name: str, words: str, unit: str, digits: int, between_sd: float) -> Figure:
    return Figure(name=name, words=words, unit=unit, digits=digits, between_sd=between_sd)


def _roll(name: str, words: str, unit: str, digits: int, between_sd: float) -> Figure:
    return Figure(
        name=name, words=words, unit=unit, digits=digits, between_sd=between_sd, source=_ROLL
    )


FIGURES: Final[dict[str, Figure]] = {
    figure.name: figure
    for figure in (
        _figure("speed_m_s", "speed", "m/s", 2, 0.03),
        _figure("clean_speed_m_s", "clean speed", "m/s", 2, 0.03),
        _figure("stroke_rate_cycles_min", "stroke rate", "cycles a minute", 1, 1.0),
        _figure("stroke_length_m", "stroke length", "m a cycle", 2, 0.07),
        _figure("index_of_coordination_pct", "index of coordination", "% of the cycle", 1, 2.5),
        _figure("kicks_per_cycle", "kicks a cycle", "kicks", 1, 0.4),
        _figure("kick_share_of_beat_pct", "cycles in the most frequent beat", "%", 0, 10.0),
        _roll("roll_onto_left_deg", "roll onto the left", "degrees", 0, 4.0),
        _roll("roll_onto_right_deg", "roll onto the right", "degrees", 0, 4.0),
        _roll("hold_all_left_s", "time on the side, left side up, all rolls", "s", 2, 0.06),
        _roll("hold_all_right_s", "time on the side, right side up, all rolls", "s", 2, 0.06),
        _roll("fixed_left_s", "time beyond a fixed roll, left side up, all rolls", "s", 2, 0.08),
        _roll("fixed_right_s", "time beyond a fixed roll, right side up, all rolls", "s", 2, 0.08),
        _roll("told_pct", "rolls where a breath could be told or ruled out", "%", 0, 15.0),
        _roll("side_hold_s", "time on the side in breaths", "s", 2, 0.08),
        Figure(
            name="side_hold_excess_s",
            words="breaths longer than other rolls by",
            unit="s",
            digits=2,
            between_sd=0.08,
            source=_EXCESS,
        ),
        _roll("breath_fixed_s", "time beyond a fixed roll in breaths", "s", 2, 0.1),
        _figure("pull_depth_left_m", "pull depth, left", "m", 2, 0.05),
        _figure("pull_depth_right_m", "pull depth, right", "m", 2, 0.05),
        Figure(
            name="elbow_angle_left_deg",
            words="elbow at mid-pull, left",
            unit="degrees",
            digits=0,
            between_sd=_ELBOW_BETWEEN_DEG,
            source=_ELBOW,
        ),
        Figure(
            name="elbow_angle_right_deg",
            words="elbow at mid-pull, right",
            unit="degrees",
            digits=0,
            between_sd=_ELBOW_BETWEEN_DEG,
            source=_ELBOW,
        ),
    )
}


def season_lengths(tables: dict[str, pd.DataFrame], *, pool_length_m: float) -> pd.DataFrame:
    """Return one row a length: its number, its condition, its sources and every figure.

    Parameters
    ----------
    tables : dict of str to DataFrame
        Contract tables of one session.
    pool_length_m : float
        Lengths of another pool are another condition.

    Returns
    -------
    DataFrame
        length_no, condition, roll_source, elbow_source, excess_source and the columns of `FIGURES`;
        empty where a figure can't be had.
    """
    lengths = tables["lengths"]
    out = pd.DataFrame({"length_no": lengths["length_no"].astype("int64")})
    out["condition"] = [condition(row, pool_length_m) for row in lengths.to_dict("records")]
    out[_ROLL] = lengths[_ROLL].fillna("").astype(str)
    out[_EXCESS] = out[_ROLL]
    out.loc[out["length_no"].isin(_against_other_side(tables)), _EXCESS] += _OTHER_ROLLS
    more = [_of_rolls(tables["rolls"]), _fixed(tables), _of_strokes(tables["arm_strokes"])]
    more.append(_median(tables["breaths"], "beyond_fixed_s").rename("breath_fixed_s").to_frame())
    more.append(_steady(tables["arm_cycles"]).rename("kick_share_of_beat_pct").to_frame())
    worked_out = {name for table in more for name in table}
    for name in FIGURES:
        if name in lengths and name not in worked_out:
            out[name] = pd.to_numeric(lengths[name], errors="coerce").astype(float)
    for table in more:
        out = out.join(table, on="length_no")
    for name in FIGURES:
        out[name] = out[name].astype(float) if name in out else np.nan
    out[_ELBOW] = out[_ELBOW].fillna("").astype(str) if _ELBOW in out else ""
    return out[["length_no", "condition", _ROLL, _ELBOW, _EXCESS, *FIGURES]]


def _against_other_side(tables: dict[str, pd.DataFrame]) -> list[int]:
    """Return the lengths with a breath that is held against rolls to the other side."""
    breaths, sides = tables["breaths"], reference_sides(tables["rolls"])
    swapped = [side for side, reference in sides.items() if side != reference]
    return [int(number) for number in breaths.loc[breaths["side"].isin(swapped), "length_no"]]


def condition(length: dict[Any, Any], pool_length_m: float) -> str:
    """Return in words what a length has to share with another to be compared with it.

    Block (the check set, or the block's label), what was swum, drill, aids, breathing asked for
    and pool; unfinished lengths are by themselves.
    """
    label = " ".join(_text(length, "block_label").casefold().split())
    block = CHECK_SET if is_check(label) else label
    parts = [block or "no block", _text(length, "activity").replace("_", " ") or "other"]
    drill, aids, breathing = (_text(length, key) for key in ("drill", "aids", "breathing"))
    if drill:
        parts.append(drill)
    if aids:
        parts.append("with " + ", ".join(sorted(aids.split())))
    if breathing:
        parts.append(f"breathing {breathing}")
    parts.append(f"{pool_length_m:g} m pool")
    if length.get("finished") is False or length.get("finished") is np.False_:
        parts.append(UNFINISHED)
    return " · ".join(parts)


def only_condition(
    tables: dict[str, pd.DataFrame], wanted: str, *, pool_length_m: float
) -> dict[str, pd.DataFrame]:
    """Return the tables with only the rows of the lengths in one condition."""
    lengths = tables["lengths"]
    inside = [condition(row, pool_length_m) == wanted for row in lengths.to_dict("records")]
    numbers = set(lengths.loc[inside, "length_no"])
    return {
        name: table[table["length_no"].isin(numbers)] if "length_no" in table else table
        for name, table in tables.items()
    }


def is_check(name: str) -> bool:
    """Tell whether a block's label, or a condition, is the check set."""
    return name.casefold().startswith(CHECK_SET)


def _text(length: dict[Any, Any], key: str) -> str:
    value = length.get(key)
    return "" if pd.isna(value) else str(value)


def figure_rows(lengths: pd.DataFrame) -> list[dict[str, Any]]:
    """Return n, mean and SD of each figure in each condition, one row each; empty ones left out.

    Parameters
    ----------
    lengths : DataFrame
        As `season_lengths` returns it.
    """
    rows: list[dict[str, Any]] = []
    for name, own in lengths.groupby("condition", sort=True):
        for figure in FIGURES.values():
            visit = visit_of(own[figure.name], day=0.0)
            if visit.n == 0:
                continue
            known = own[own[figure.name].notna()]
            source = str(known[figure.source].mode().iloc[0]) if figure.source else ""
            rows.append(
                {
                    "condition": str(name),
                    "name": figure.name,
                    "source": source,
                    "n": visit.n,
                    "mean": visit.mean,
                    "sd": None if visit.n < 2 else visit.sd,
                }
            )
    return rows


def _median(table: pd.DataFrame, column: str) -> pd.Series[Any]:
    values = pd.to_numeric(table[column], errors="coerce").astype(float)
    return values.groupby(table["length_no"].astype("int64")).median()


def _of_rolls(rolls: pd.DataFrame) -> pd.DataFrame:
    """Return the median hold of all half cycles by side, and the share with a told breath."""
    columns = {
        f"hold_all_{side}_s": _median(rolls[_is(rolls["side"], side)], "hold_s")
        for side in ("left", "right")
    }
    told = rolls["is_breath"].notna().astype(float) * 100.0
    return pd.DataFrame(columns | {"told_pct": told.groupby(rolls["length_no"]).mean()})


def _is(column: pd.Series[Any], value: str) -> pd.Series[Any]:
    return column.eq(value).fillna(value=False).astype(bool)


def _fixed(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Return the mean time of a half cycle beyond the fixed angle, for each side that is up."""
    rolls, signal, rows = tables["rolls"], tables["roll"], []
    for source, own in signal.groupby("source"):
        used = tables["lengths"][_is(tables["lengths"]["roll_source"], str(source))]
        time_s, roll_deg = own["time_s"].to_numpy(float), own["roll_deg"].to_numpy(float)
        for row in used.itertuples():
            own_rolls = rolls[rolls["length_no"] == row.length_no]
            halves, first_s = own_rolls["side"], own_rolls["start_s"].min()
            begin_s = first_s if pd.isna(row.swim_start_s) else row.swim_start_s
            inside = slice(*np.searchsorted(time_s, [begin_s, row.end_s]))
            part, limit = roll_deg[inside], FIXED_DEG[str(source)]
            rows.append(
                {
                    "length_no": row.length_no,
                    "fixed_left_s": _beyond(part > limit, int(_is(halves, "left").sum())),
                    "fixed_right_s": _beyond(part < -limit, int(_is(halves, "right").sum())),
                }
            )
    names = ["length_no", "fixed_left_s", "fixed_right_s"]
    return pd.DataFrame(rows, columns=names).set_index("length_no")


def _beyond(beyond: np.ndarray[Any, np.dtype[np.bool_]], halves: int) -> float:
    return float(beyond.sum()) / _ROLL_RATE_HZ / halves if halves else float("nan")


def _of_strokes(strokes: pd.DataFrame) -> pd.DataFrame:
    """Return the median pull depth and elbow of each arm, and where the elbow comes from.

    Strokes measured in a picture count only where no sensor told any elbow.
    """
    sensed = strokes[strokes[_ELBOW].notna() & ~_is(strokes[_ELBOW], "video")]
    elbows = strokes if sensed.empty else sensed
    columns: dict[str, pd.Series[Any]] = {}
    for side in ("left", "right"):
        own = strokes[_is(strokes["side"], side)]
        columns[f"pull_depth_{side}_m"] = _median(own, "pull_depth_m")
        bent = elbows[_is(elbows["side"], side)]
        columns[f"elbow_angle_{side}_deg"] = _median(bent, "elbow_angle_deg")
    known = elbows.dropna(subset=[_ELBOW])
    columns[_ELBOW] = known.groupby("length_no")[_ELBOW].first()
    return pd.DataFrame(columns)


def _steady(cycles: pd.DataFrame) -> pd.Series[Any]:
    """Return the share of a length's cycles that hold the most frequent number of kicks, in %."""
    known = cycles.dropna(subset=["kicks"])
    counts = known["kicks"].astype("int64").groupby(known["length_no"].astype("int64"))
    return counts.agg(lambda own: 100.0 * own.value_counts(normalize=True).iloc[0])


MAIN: Final = (
    "speed_m_s",
    "stroke_rate_cycles_min",
    "stroke_length_m",
    "index_of_coordination_pct",
    "kicks_per_cycle",
    "roll_onto_left_deg",
    "roll_onto_right_deg",
    "hold_all_left_s",
    "hold_all_right_s",
    "side_hold_excess_s",
)
"""What is looked at unless more is asked for: the fewer figures, the smaller a change is seen."""

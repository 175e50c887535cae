"""Survey to needs: how much of a block needs what, from panels, from counts or, flagged, from an index or a rating.

Panels that are broken, sunken or broken at a corner need full depth (FHWA, source ``fhwa-full-depth-table``);
spalled joints and cracks need partial depth; tight cracks are filled; joints opened wide are resealed; joints that no
longer carry load across get dowels (source ``fp2-retrofit``).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base import rating, tables
from rehab.base.settings import Assumptions
from rehab.base.surface import LIMITS, grindings_left, is_rough
from rehab.base.units import SQFT_PER_SQYD
from rehab.steps.needs.shares import from_counts, from_index

Floats = npt.NDArray[np.float64]
_LEVEL: Final = {name: float(level) for level, name in enumerate(tables.DISTRESS)}

#: what one panel that needs full depth takes: needs column -> column of ``per_panel`` after its whole_, part_ or full_
_PER_FULL: Final = {"full_sqyd": "sqyd", "full_pay_sqyd": "pay_sqyd", "dowels": "dowels", "tie_bars": "tie_bars",
                    "basket_dowels": "basket_dowels", "saw_ft": "saw_ft", "joint_ft": "joint_ft"}
#: what one panel that needs partial depth takes: needs column -> column of ``per_panel``
_PER_PARTIAL: Final = {"partial_ft": "patch_ft", "partial_sqft": "patch_sqft", "partial_pay_sqft": "patch_pay_sqft",
                       "patch_saw_ft": "patch_saw_ft", "insert_ft": "insert_ft"}
#: what stays the same while the shares grow: found on the block as a whole
_FIXED: Final = ("box_outs", "box_out_sqft", "felt_ft", "grind_panels_share", "jack_panels", "jackable_panels",
                 "stabilise_panels", "retrofit_bars", "hollow_sqft")


def measure(network: pd.DataFrame, per_panel: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """The table ``needs`` of the survey year, one row per block.

    ``per_panel`` holds what one panel takes and what a panel survey found, as layout makes it; rows as in the network.
    Where a block is counted, what its survey leaves out counts as none seen.  Where only an index, a rating or
    a word is held, shares come from the table ``rating_to_shares`` and ``estimated`` is true.
    """
    held = rating.index_held(network, assumptions)
    estimated = network["estimated"].astype(bool)
    shares = from_index(network, held, assumptions).where(estimated, from_counts(network, assumptions))
    for name in ("full_share", "partial_share", "cracked_share", "sunken_share", "jack_panels", "jackable_panels"):
        found = per_panel[name]
        shares[name] = found.where(found.notna(), shares[name])
    shares["partial_share"] = np.minimum(shares["partial_share"], 1.0 - shares["full_share"])
    # Failed sealant found panel by panel is resealed with the joints that have opened wide.
    joints = (network["transverse_joint_ft"] + network["longitudinal_joint_ft"]).to_numpy(float)
    failed = per_panel["seal_ft"].fillna(0.0).to_numpy(float) / joints
    shares["wide_joint_share"] = np.minimum(shares["wide_joint_share"] + failed, 1.0)
    computed = rating.index_of(shares["partial_share"], shares["full_share"], assumptions)
    shares = shares.assign(index=np.where(np.isnan(held), computed, held),
                           year=network["survey_year"].astype("int64"))
    needs = scale(network, shares, intensity(network, shares, per_panel, assumptions))
    return tables.check("needs", tables.with_types("needs", needs))


def intensity(network: pd.DataFrame, shares: pd.DataFrame, per_panel: pd.DataFrame,
              assumptions: Assumptions) -> pd.DataFrame:
    """What one panel in need takes, from the block's own survey or the defaults; rows as in the network.

    It stays the same while the shares grow: a forecast year multiplies it by its own shares.
    """
    panels = network["panels"].to_numpy(float)
    full, partial = (shares[f"{name}_share"].to_numpy(float) * panels for name in ("full", "partial"))
    left = _left_cracked(shares) * panels
    surveyed = per_panel["full_share"].notna().to_numpy(bool)
    whole = _whole_ratio(network, per_panel, full, surveyed)
    counted = _per_partial(network, partial, assumptions)

    def each(name: str, over: Floats, default: npt.ArrayLike) -> Floats:
        """What the panel survey found divided by the panels it was found on; else the default."""
        return np.asarray(np.divide(per_panel[name].to_numpy(float), over, out=np.broadcast_to(
            np.asarray(default, float), len(network)).copy(), where=surveyed & (over > 0)))

    by_rule = {column: whole * per_panel[f"whole_{name}"] + (1 - whole) * per_panel[f"part_{name}"]
               for column, name in _PER_FULL.items()}
    cracks = _own(network, network["cracked_ft"].to_numpy(float), shares["cracked_share"].to_numpy(float) * panels,
                  assumptions.number("defaults", "crack_ft_per_panel"))
    return pd.DataFrame({
        **{column: each(f"full_{name}", full, by_rule[column]) for column, name in _PER_FULL.items()},
        "whole_ratio": whole,
        **{column: each(name, partial, counted[column]) for column, name in _PER_PARTIAL.items()},
        "crack_ft": each("crack_ft", left, cracks), "stitch_ft": each("stitch_ft", left, 0.0),
        # Cracks and patches that stay on panels cut in part belong to no share: those panels need full depth.
        **{f"{column}_set": np.where(surveyed & (over <= 0), per_panel[name].fillna(0.0), 0.0)
           for column, name, over in (("crack_ft", "crack_ft", left), ("stitch_ft", "stitch_ft", left),
                                      *((column, name, partial) for column, name in _PER_PARTIAL.items()))},
        # Box-outs are sawn and sealed round; their number does not grow with the panels.
        **{f"{column}_set": np.where(surveyed & (full <= 0), per_panel[f"full_{name}"].fillna(0.0), 0.0)
           + (per_panel[f"box_{column}"].fillna(0.0).to_numpy(float) if column in ("saw_ft", "joint_ft") else 0.0)
           for column, name in _PER_FULL.items()},
        "most_sqyd": np.where(surveyed, np.inf, network["area_sqyd"].to_numpy(float)),
        "most_sqft": np.where(surveyed, np.inf, network["area_sqft"].to_numpy(float) / panels),
        "partial_depth_in": per_panel["patch_depth_in"].fillna(_removal_in(network, assumptions)).to_numpy(float),
        "castings_each": each("castings_in_panels", full, network["castings"].fillna(0).to_numpy(float) / panels),
        "castings_set": per_panel["castings"].fillna(0.0).to_numpy(float),
        **_fixed(network, shares, per_panel, assumptions),
        "grind_sqyd": grindable_sqyd(network, assumptions) * (grindings_left(network, assumptions) > 0),
    })


def grindable_sqyd(network: pd.DataFrame, assumptions: Assumptions) -> Floats:
    """The surface of each block that a grinder reaches, in sq yd: all but a strip along the curbs."""
    strip = assumptions.number("defaults", "grind_curb_strip_ft")
    width = (network["width_ft"] - 2 * strip).clip(lower=0)
    return np.asarray(network["length_ft"] * width / SQFT_PER_SQYD, float)


def scale(network: pd.DataFrame, shares: pd.DataFrame, each: pd.DataFrame) -> pd.DataFrame:
    """Needs in feet, square feet and panels from shares; the rows of the three tables belong together.

    ``shares`` holds year, index and the shares, ``each`` what one panel takes; the same code serves the survey
    year and every forecast year.  With the columns ``faulting_in`` and ``iri_in_per_mi`` the shares bring the steps
    and the ride of their year; else those of the survey stand.
    """
    panels = network["panels"].to_numpy(float)
    full_panels = shares["full_share"].to_numpy(float) * panels
    partial_panels = shares["partial_share"].to_numpy(float) * panels
    cracked_panels = _left_cracked(shares) * panels
    joints = (network["transverse_joint_ft"] + network["longitudinal_joint_ft"]).to_numpy(float)
    given = ("full_share", "partial_share", "cracked_share", "sunken_share", "curb_share", "wide_joint_share", "index")
    patches = {name: partial_panels * each[name].to_numpy(float) + each[f"{name}_set"].to_numpy(float)
               for name in _PER_PARTIAL}
    per_panel = each["partial_sqft"].to_numpy(float)
    room = np.minimum(1.0, np.divide(each["most_sqft"].to_numpy(float), per_panel, out=np.ones(len(panels)),
                                     where=per_panel > 0))
    whole = full_panels * each["whole_ratio"].to_numpy(float)
    surface = {name: (shares if name in shares else network)[name].to_numpy(float) for name in LIMITS}
    to_level = {"grind_panels_share": each["grind_panels_share"].to_numpy(float)}
    rough = is_rough({**surface, **to_level}, {name: each[f"{name}_limit"].to_numpy(float) for name in LIMITS})
    return pd.DataFrame({
        "block_id": network["block_id"].to_numpy(), "year": shares["year"].to_numpy(),
        **{name: shares[name].to_numpy(float) for name in given},
        "panels_full": full_panels, "panels_whole": whole, "panels_part": full_panels - whole,
        **{name: full_panels * each[name].to_numpy(float) + each[f"{name}_set"].to_numpy(float)
           for name in _PER_FULL},
        # Neighbours that both go past their joint share it: no more is replaced than there is.
        **{name: np.minimum(full_panels * each[name].to_numpy(float) + each[f"{name}_set"].to_numpy(float),
                            each["most_sqyd"].to_numpy(float)) for name in ("full_sqyd", "full_pay_sqyd")},
        # By feet counted, a patched panel has no more area than a panel.
        **{name: value if name == "partial_ft" else value * room for name, value in patches.items()},
        "partial_depth_in": each["partial_depth_in"].to_numpy(float),
        **{name: cracked_panels * each[name].to_numpy(float) + each[f"{name}_set"].to_numpy(float)
           for name in ("crack_ft", "stitch_ft")},
        # The joints of replaced panels are new.
        "reseal_ft": shares["wide_joint_share"].to_numpy(float) * joints * (1 - shares["full_share"].to_numpy(float)),
        "curb_ft": shares["curb_share"].to_numpy(float) * network["curb_ft"].to_numpy(float)
        * (network["functional_class"] != "alley").to_numpy(float),  # alleys have none
        "castings": each["castings_set"].to_numpy(float) + full_panels * each["castings_each"].to_numpy(float),
        **{name: each[name].to_numpy(float) for name in _FIXED},
        # Ground after repairs where the city does so, else only where steps, ride or the survey ask for it.
        "grind_sqyd": each["grind_sqyd"].to_numpy(float) * (
            rough | (full_panels + partial_panels >= each["grind_from"].to_numpy(float))),
        "distress_level": network["material_distress"].map(_LEVEL).fillna(0.0).to_numpy(float),
        **surface, "load_transfer": network["load_transfer"].to_numpy(float),
        "estimated": network["estimated"].to_numpy(),
    })


def _left_cracked(shares: pd.DataFrame) -> Floats:
    """Share of panels that are cracked and stay: broken ones are replaced, sunken ones are cracked like any other."""
    full, cracked, sunken = (shares[f"{name}_share"].to_numpy(float) for name in ("full", "cracked", "sunken"))
    broken = np.maximum(full - sunken, 0.0)
    staying = 1.0 - np.minimum(sunken / np.maximum(1.0 - broken, 1e-12), 1.0)
    return np.asarray(np.maximum(cracked - broken, 0.0) * staying)


def _removal_in(network: pd.DataFrame, assumptions: Assumptions) -> pd.Series:
    """Depth removed for shallow damage that is only counted: into sound concrete, at least the least depth."""
    into = assumptions.number("layout_rules", "partial.into_sound_in")
    least = assumptions.number("layout_rules", "partial.least_depth_in")
    seen = (network["damage_depth_in"] + into).clip(lower=least)
    return seen.fillna(assumptions.number("defaults", "damage_depth_in"))


def _own(network: pd.DataFrame, seen: Floats, on_panels: Floats, default: float) -> Floats:
    """Seen divided by the panels it was seen on; the default where there is nothing to divide."""
    given = (np.nan_to_num(seen) > 0) & (on_panels > 0) & ~network["estimated"].to_numpy(bool)
    return np.asarray(np.divide(seen, on_panels, out=np.full(len(network), default), where=given))


def _per_partial(network: pd.DataFrame, partial: Floats, assumptions: Assumptions) -> dict[str, Floats]:
    """What a panel that needs partial depth takes by the counted feet and hollow area.

    One patch along its joint, and a square one for the hollow area that it does not cover.
    """
    feet = _own(network, network["spalled_joint_ft"].to_numpy(float), partial,
                assumptions.number("defaults", "partial_ft_per_panel"))
    hollow = _own(network, network["hollow_sqft"].to_numpy(float), partial, 0.0)
    width = assumptions.number("defaults", "partial_width_ft")
    area = np.maximum(feet * width, hollow)
    least = assumptions.number("layout_rules", "pay.least_partial_sqft")
    return {"partial_ft": feet, "partial_sqft": area, "partial_pay_sqft": np.maximum(area, least),
            "patch_saw_ft": feet + 2 * width + 4 * np.sqrt(area - np.minimum(feet * width, area)), "insert_ft": feet}


def _whole_ratio(network: pd.DataFrame, per_panel: pd.DataFrame, full: Floats,
                 surveyed: npt.NDArray[np.bool_]) -> Floats:
    """Share of the panels in need of full depth that are replaced whole; a broken corner takes a part of its panel."""
    corners = network["corner_breaks"].fillna(0.0).to_numpy(float)
    lost = (network["panels_broken"].fillna(0.0) + network["panels_sunken"].fillna(0.0)).to_numpy(float)
    counted = np.divide(lost, lost + corners, out=np.ones(len(network)), where=lost + corners > 0)
    found = np.divide(np.minimum(per_panel["whole_count"].to_numpy(float), full), full, out=np.ones(len(network)),
                      where=full > 0)
    return np.asarray(np.where(surveyed, found, np.where(network["estimated"].to_numpy(bool), 1.0, counted)))


def _fixed(network: pd.DataFrame, shares: pd.DataFrame, per_panel: pd.DataFrame,
           assumptions: Assumptions) -> dict[str, Floats]:
    """What belongs to the block as a whole, from a panel survey, or from its measures where there is none."""
    found = {name: per_panel[name].fillna(0.0).to_numpy(float)
             for name in ("box_outs", "box_out_sqft", "felt_ft", "stabilise_panels", "retrofit_panels")}
    to_level = per_panel["grind_panels"].fillna(0.0).to_numpy(float)
    found["grind_panels_share"] = np.minimum(to_level / network["panels"].to_numpy(float), 1.0)
    bars = assumptions.number("companions", "retrofit.bars_per_joint")
    own = found.pop("retrofit_panels") * bars
    hollow = per_panel["hollow_sqft"].fillna(network["hollow_sqft"]).fillna(0.0).to_numpy(float)
    return {**found, "retrofit_bars": np.where(own > 0, own, _retrofit_bars(network, shares, bars, assumptions)),
            "hollow_sqft": hollow,
            **{name: shares[name].to_numpy(float) for name in ("jack_panels", "jackable_panels")},
            **{f"{name}_limit": np.full(len(network), assumptions.number("companions", key))
               for name, key in LIMITS.items()},
            "grind_from": np.full(len(network), _ground_from(assumptions))}


def _ground_from(assumptions: Assumptions) -> float:
    """Panels patched or replaced from which the surface is ground; never where the city grinds only what is rough."""
    with_repairs = assumptions.text("companions", "grind.with_repairs") == "yes"
    return assumptions.number("companions", "grind.from_panels") if with_repairs else np.inf


def _retrofit_bars(network: pd.DataFrame, shares: pd.DataFrame, bars: float, assumptions: Assumptions) -> Floats:
    """Dowels to retrofit in every transverse joint of a block whose load transfer is poor and whose panels are sound.

    Load transfer below the limit, faulting within limits and few broken slabs (source ``fp2-retrofit``); thin slabs
    hold no slot.
    """
    def number(key: str) -> float:
        return assumptions.number("companions", key)

    faulting = network["faulting_in"].to_numpy(float)
    fits = ((network["load_transfer"].to_numpy(float) < number("retrofit.load_transfer_below"))
            & (faulting >= number("retrofit.faulting_from_in")) & (faulting <= number("retrofit.faulting_to_in"))
            & (shares["full_share"].to_numpy(float) < number("retrofit.most_broken_share"))
            & (network["thickness_in"].to_numpy(float) >= number("retrofit.least_thickness_in")))
    lanes = np.maximum(np.round(network["width_ft"].to_numpy(float) / number("retrofit.lane_ft")), 1.0)
    return np.asarray(fits * (network["panel_rows"].to_numpy(float) - 1) * lanes * bars)

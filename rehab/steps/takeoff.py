"""Strategy and needs to quantities per pay item.

Work is measured once, in what it takes: an all-in item carries the area that is paid (with the least pay quantity of
each repair, Iowa section 7040, source ``iowa-7040``), the parts inside it carry true areas, volumes and counts.
The column ``included_in`` of ``pay_items`` says which items a part belongs to, ``waste`` what is bought beyond the
measure; which of the two is priced is the estimate's matter.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from rehab.base.settings import Assumptions
from rehab.base.tables import STRATEGIES
from rehab.base.units import CUIN_PER_GALLON, IN_PER_FT, SQFT_PER_SQYD, cubic_yards

Floats = npt.NDArray[np.float64]
Work = dict[str, Floats]
_ROADS_WITHOUT_CURB: Final = "alley"
#: needs that are zero where nothing is placed; stripes are painted anew where one of them is not
_PLACED_SHALLOW: Final = ("partial_sqft", "retrofit_bars", "grind_sqyd")
_PLACED_DEEP: Final = ("full_sqyd", "box_outs")


def measure(network: pd.DataFrame, needs: pd.DataFrame, strategy: str, assumptions: Assumptions) -> pd.DataFrame:
    """Quantities of one strategy: one row per row of ``needs``, one column per pay item, in the item's unit.

    ``network`` has the same rows in the same order.  ``partial_depth`` patches joints and cracks, fills, seals,
    stitches, raises, stabilises, restores load transfer, sets castings, replaces curb, grinds and stripes;
    ``full_depth`` replaces panels and boxes out castings as well; ``reconstruction`` replaces the whole block and
    builds its curb ramps; ``none`` takes nothing.  Waste is in.  Raises :class:`KeyError` for an unknown strategy or
    pay item.
    """
    if strategy not in STRATEGIES:
        raise KeyError(f"no strategy {strategy}")
    table = assumptions.table("pay_items")
    position = {str(item): row for row, item in enumerate(table.index)}
    amounts = np.zeros((len(table), len(needs)))
    for part in _parts(network, needs, strategy, assumptions):
        for item, amount in part.items():
            if item not in position:
                raise KeyError(f"no pay item {item}")
            amounts[position[item]] += amount
    waste = pd.to_numeric(table["waste"]).to_numpy(float)
    for row in np.flatnonzero(waste != 1):
        amounts[row] *= waste[row]
    return pd.DataFrame(amounts.T, columns=list(position), copy=False)


def as_list(keys: pd.DataFrame, quantities: pd.DataFrame, assumptions: Assumptions) -> pd.DataFrame:
    """The table ``quantities``, one row per block, year, strategy and pay item that is not zero.

    ``keys`` holds block_id, year and strategy of each row of ``quantities``.
    """
    units = assumptions.table("pay_items")["unit"].reindex(quantities.columns)
    row, column = np.nonzero(quantities.to_numpy())
    result = keys.iloc[row].reset_index(drop=True)
    result = result.assign(pay_item=quantities.columns.to_numpy()[column], unit=units.to_numpy()[column],
                           quantity=quantities.to_numpy()[row, column])
    columns = ["block_id", "year", "strategy", "pay_item", "quantity", "unit"]
    return result.astype({"pay_item": "str", "unit": "str"})[columns]


def _parts(network: pd.DataFrame, needs: pd.DataFrame, strategy: str, assumptions: Assumptions) -> list[Work]:
    """The works that a strategy is made of; what they share, such as sealant, is added up."""
    if strategy == "none":
        return []
    if strategy == "reconstruction":
        return [_pavement(network, assumptions), _beside_pavement(network, assumptions)]
    shallow = [_patches(needs, assumptions), _sealing(needs["crack_ft"], "crack_filling", assumptions),
               _sealing(needs["reseal_ft"], "joint_resealing", assumptions), _companions(network, needs, assumptions),
               _castings_and_curb(needs)]
    if strategy == "partial_depth":
        return [*shallow, _stripes(network, _any(needs, _PLACED_SHALLOW), assumptions)]
    return [*shallow, _panels(network, needs, assumptions),
            _stripes(network, _any(needs, (*_PLACED_SHALLOW, *_PLACED_DEEP)), assumptions)]


def _patches(needs: pd.DataFrame, assumptions: Assumptions) -> Work:
    """Partial-depth repair: the paid area, and what goes into the true one; a waxed board keeps the joint open."""
    area, depth, cut = (needs[name].to_numpy(float) for name in ("partial_sqft", "partial_depth_in", "patch_saw_ft"))
    bonded_sqft = np.where(area > 0, area + cut * depth / IN_PER_FT, 0.0)  # the bottom and the sawn sides
    grout_in = assumptions.number("defaults", "bond_grout_in")
    return {
        "partial_depth_patch": needs["partial_pay_sqft"].to_numpy(float),
        "patch_milling": area, "patch_saw_cut": cut,
        "bonding_grout": bonded_sqft * IN_PER_FT**2 * grout_in / CUIN_PER_GALLON,
        "patch_mix": cubic_yards(area, depth), "joint_insert": needs["insert_ft"].to_numpy(float),
        "sealant": needs["insert_ft"].to_numpy(float) * _sealant_gal_per_ft(assumptions),
        "curing_compound": _curing_gal(area, assumptions),
    }


def _panels(network: pd.DataFrame, needs: pd.DataFrame, assumptions: Assumptions) -> Work:
    """Full-depth repair and casting box-outs: the paid area and count, and the parts of both together."""
    boxes_sqft = needs["box_out_sqft"].to_numpy(float)
    area_sqft = needs["full_sqyd"].to_numpy(float) * SQFT_PER_SQYD + boxes_sqft
    joint_ft = needs["joint_ft"].to_numpy(float)
    return {
        "full_depth_panel": needs["full_pay_sqyd"].to_numpy(float),
        "casting_box_out": needs["box_outs"].to_numpy(float), "saw_cut": needs["saw_ft"].to_numpy(float),
        "removal_full": area_sqft / SQFT_PER_SQYD, "base_repair": area_sqft / SQFT_PER_SQYD,
        "dowel": needs["dowels"].to_numpy(float), "basket_dowel": needs["basket_dowels"].to_numpy(float),
        "tie_bar": needs["tie_bars"].to_numpy(float),
        "concrete_full": cubic_yards(area_sqft, network["thickness_in"].to_numpy(float)),
        "new_joint": joint_ft, "sealant": joint_ft * _sealant_gal_per_ft(assumptions),
        "curing_compound": _curing_gal(area_sqft, assumptions),
        "expansion_felt": needs["felt_ft"].to_numpy(float),
        "box_out_steel": boxes_sqft * assumptions.number("defaults", "box_out_steel_lb_per_sqft"),
    }


def _castings_and_curb(needs: pd.DataFrame) -> Work:
    return {"casting_adjustment": needs["castings"].to_numpy(float),
            "curb_and_gutter": needs["curb_ft"].to_numpy(float)}


def _sealing(length_ft: pd.Series, item: str, assumptions: Assumptions) -> Work:
    """Cracks or joints cleaned and sealed."""
    length = length_ft.to_numpy(float)
    return {item: length, "joint_preparation": length, "sealant": length * _sealant_gal_per_ft(assumptions)}


def _companions(network: pd.DataFrame, needs: pd.DataFrame, assumptions: Assumptions) -> Work:
    """Stitching, slabs raised and stabilised, load transfer restored, grinding; zero where the need is zero."""
    panel_sqyd = network["area_sqft"].to_numpy(float) / SQFT_PER_SQYD / network["panels"].to_numpy(float)
    spacing_ft = assumptions.number("companions", "stitch.spacing_in") / IN_PER_FT
    ground = needs["grind_sqyd"].to_numpy(float)
    return {
        "cross_stitching": _whole(needs["stitch_ft"].to_numpy(float) / spacing_ft),
        "slab_jacking": needs["jack_panels"].to_numpy(float) * panel_sqyd,
        "slab_stabilisation": needs["stabilise_panels"].to_numpy(float) * panel_sqyd,
        "dowel_bar_retrofit": needs["retrofit_bars"].to_numpy(float),
        "diamond_grinding": ground, "grinding_surface": ground, "slurry_handling": ground,
    }


def _pavement(network: pd.DataFrame, assumptions: Assumptions) -> Work:
    """The whole pavement anew, its joints where they lie now and dowelled from the thickness that asks for it."""
    area, thickness, across, along = (network[name].to_numpy(float) for name in (
        "area_sqft", "thickness_in", "transverse_joint_ft", "longitudinal_joint_ft"))
    dowelled = thickness >= assumptions.number("defaults", "dowelled_from_in")
    dowel_ft, tie_ft = (assumptions.number("dowels", key) / IN_PER_FT for key in ("spacing_in", "tie.spacing_in"))
    sqyd = area / SQFT_PER_SQYD
    return {
        "pavement_reconstruction": sqyd, "removal_reconstruction": sqyd, "base_reconstruction": sqyd,
        "concrete_reconstruction": cubic_yards(area, thickness), "curing_compound": _curing_gal(area, assumptions),
        "basket_dowel": np.where(dowelled, _whole(across / dowel_ft), 0.0), "tie_bar_placed": _whole(along / tie_ft),
        "new_joint": across + along, "sealant": (across + along) * _sealant_gal_per_ft(assumptions),
    }


def _beside_pavement(network: pd.DataFrame, assumptions: Assumptions) -> Work:
    """What goes with reconstruction: castings, lines, and where there is a curb, the curb and its ramps."""
    curbed = (network["functional_class"] != _ROADS_WITHOUT_CURB).to_numpy(float)
    curb_ft = assumptions.number("defaults", "reconstruction_curb_share") * network["curb_ft"].to_numpy(float)
    return {
        "curb_and_gutter": curbed * curb_ft,
        "curb_ramp": curbed * assumptions.number("defaults", "ramps_with_reconstruction"),
        "casting_adjustment": network["castings"].fillna(0).to_numpy(float),
        **_stripes(network, np.ones(len(network), bool), assumptions),
    }


def _stripes(network: pd.DataFrame, where: npt.NDArray[np.bool_], assumptions: Assumptions) -> Work:
    lines = assumptions.by_class("defaults", "stripe_lines", network["functional_class"])
    return {"striping": (lines * network["length_ft"]).to_numpy(float) * where}


def _any(needs: pd.DataFrame, names: tuple[str, ...]) -> npt.NDArray[np.bool_]:
    return np.asarray((needs[list(names)].to_numpy(float) > 0).any(axis=1))


def _curing_gal(area_sqft: Floats, assumptions: Assumptions) -> Floats:
    return area_sqft / assumptions.number("defaults", "curing_sqft_per_gal")


def _sealant_gal_per_ft(assumptions: Assumptions) -> float:
    """Width x depth x 12 / 231: gallons in a foot of joint (1 gal = 231 cu in, NIST Handbook 44)."""
    width, depth = (assumptions.number("defaults", f"sealant_{name}_in") for name in ("width", "depth"))
    return width * depth * IN_PER_FT / CUIN_PER_GALLON


def _whole(count: Floats) -> Floats:
    """Rounded up to whole pieces; a rounding error above a whole number is none."""
    return np.ceil(count - 1e-9)
